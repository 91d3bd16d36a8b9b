"""size, select and convert as a user runs them."""

import json

import pytest

from host_sim.cli.convert import SCFM_STATE as OFFERED_STATE
from host_sim.cli.main import main
from host_sim.cli.select import CRITERIA as OFFERED
from host_sim.scenario.load import shipped_scenario_path
from host_sim.size.report import SCFM_STATE
from host_sim.size.selection import CRITERIA

PRESS = shipped_scenario_path()
CATALOGUE = PRESS.with_name("catalogue.csv")
WANTED = '\n[wanted]\nfill_time = "1 s"\nvent_time = "2 s"\nend = "5 bar gauge"\n'


@pytest.fixture
def bag(tmp_path):
    """One bag on a bench, quick to size, with a command of one step."""
    text = PRESS.with_name("press_bag_recorded.toml").read_text()
    recording = 'recording = "recorded_command.csv"'
    assert recording in text
    path = tmp_path / "bag.toml"
    steps = 'steps = [["0 s", "4 mA"], ["1 s", "12 mA"]]'
    path.write_text(text.replace(recording, steps) + WANTED)
    return path


def run_json(capsys, *arguments):
    assert main([*map(str, arguments), "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def test_size_prints_what_json_says_and_draws(bag, tmp_path, capsys):
    figure = tmp_path / "size.png"
    report = run_json(capsys, "size", bag, "--plot", figure)
    assert figure.read_bytes().startswith(b"\x89PNG")
    assert main(["size", str(bag)]) == 0
    text = capsys.readouterr().out
    for act in ("filling", "venting"):
        needed = report[act]["needed"]
        assert f"{needed['conductance_dm3_s_bar']:.3g}" in text
        assert f"{needed['flow_scfm']:.4g}" in text
        assert needed["simulated_s"] == pytest.approx(report[act]["wanted_s"], rel=1e-3)
        assert needed["kv_m3_h"] == sorted(needed["kv_m3_h"])
    assert "60 degF, 14.696 psia" in text
    assert "assumed: air in the load exchanges 2 W/K with the wall" in text
    assert "relief valve" in text
    assert all(words in " ".join(text.split()) for words in report["formulas"].values())


def test_size_draws_a_stroke_that_needs_no_valve(bag, tmp_path, capsys):
    text = bag.read_text()
    assert '"0.01 dm3/(s.bar)"' in text
    bag.write_text(text.replace('"0.01 dm3/(s.bar)"', '"20 dm3/(s.bar)"'))
    figure = tmp_path / "size.svg"
    report = run_json(capsys, "size", bag, "--plot", figure)
    assert report["venting"]["needed"]["conductance_dm3_s_bar"] == 0.0
    assert "do it alone" in figure.read_text()
    assert main(["size", str(bag)]) == 0


def test_select_lists_what_fits_and_why_the_rest_does_not(bag, tmp_path, capsys):
    catalogue = tmp_path / "units.csv"
    catalogue.write_text(
        CATALOGUE.read_text()
        + "Oak;9 dm3/(s.bar);9 dm3/(s.bar);G 1/2;0 ... 6 bar gauge;10 bar gauge;"
        "leather;;;1\n"
    )
    report = run_json(capsys, "select", bag, catalogue, "--by", "margin")
    margins = [unit["margin_percent"] for unit in report["fitting"]]
    assert margins == sorted(margins, reverse=True)
    assert margins[-1] >= 0.0
    assert all(unit["against"] for unit in report["refused"])
    (left_out,) = report["left_out"]
    assert "seal = 'leather': unknown seal" in left_out
    assert main(["select", str(bag), str(catalogue), "--by", "margin"]) == 0
    text = " ".join(capsys.readouterr().out.split())
    assert f"left out: {left_out}" in text
    for unit in report["refused"]:
        assert f"refused: {unit['name']}: {unit['against'][0]}" in text


def test_convert_help_names_the_reference_state_of_reports():
    assert OFFERED_STATE == SCFM_STATE


def test_select_offers_the_criteria_there_are():
    assert tuple(CRITERIA) == OFFERED


def test_convert_states_conditions_and_uncertainty(capsys):
    report = run_json(capsys, "convert", "Cv 1")
    assert report["conductance_dm3_s_bar"] == pytest.approx(
        [3.61, 3.90, 4.17], abs=0.01
    )
    assert main(["convert", "Cv 1", "--at", "100 psig to 90 psig"]) == 0
    text = " ".join(capsys.readouterr().out.split())
    for words in ("100 psig to 90 psig", "60 degF, 14.696 psia", "xT 0.6 ... 0.8"):
        assert words in text


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["size", PRESS.with_name("press_bag_recorded.toml")], "wanted: missing"),
        (["size", PRESS, "--plot", "size.txt"], "is no picture"),
        (["size", PRESS, "--plot", "none/size.png"], "no such folder"),
        (["select", PRESS, PRESS], "unknown column"),
        (["select", PRESS, "none.csv"], "no such file"),
        (["convert", "90 SCFM"], "without the pressures"),
        (["convert", "Cv 1", "--at", "6 bar"], "not two pressures"),
        (["convert", "Cv 1", "--scfm", "cold"], "not a reference state"),
    ],
)
def test_bad_input_is_one_line_and_code_2(arguments, told, capsys):
    assert main(list(map(str, arguments))) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err.count("\n") == 1
    assert told in captured.err


def test_impossible_time_leaves_no_figure(bag, tmp_path, capsys):
    text = bag.read_text().replace('lag = "20 ms"', 'lag = "10 s"')
    bag.write_text(text.replace('fill_time = "1 s"', 'fill_time = "0.01 s"'))
    figure = tmp_path / "size.png"
    assert main(["size", str(bag), "--plot", str(figure)]) == 2
    assert "no capacity is enough" in capsys.readouterr().err
    assert not figure.exists()


def test_size_stops_on_an_interrupt(bag, monkeypatch, capsys):
    def interrupted(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr("host_sim.size.sizing.strokes", interrupted)
    assert main(["size", str(bag)]) == 130
    assert "stopped" in capsys.readouterr().err
