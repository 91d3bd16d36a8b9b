"""The commands `margins` and `rules`: tables, JSON, figures, refusals."""

import json
import os

import pytest

from host_sim.cli.main import main
from host_sim.scenario.load import shipped_scenario_path

PRESS = str(shipped_scenario_path())
MODEL = ["--gain", "1.2 %/%", "--lag", "0.12 s", "--delay", "20 ms", "--tick", "10 ms"]


def run_json(capsys, *arguments):
    assert main([*arguments, "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def test_cli_margins_prints_what_json_says(capsys):
    arguments = ("margins", PRESS, "--at", "30 %", "--at", "0.6")
    report = run_json(capsys, *arguments)
    assert [point["at_percent"] for point in report["points"]] == [30.0, 60.0]
    assert main([*arguments]) == 0
    text = capsys.readouterr().out
    for point in report["points"]:
        assert f"{point['ms']:.2f}" in text
        assert f"{point['gain_margin']:.2f}" in text
        assert f"{point['phase_margin_deg']:.1f}" in text
    assert "computing delay 1 ticks" in text
    assert "small movements" in text
    assert "relief valve" in text


def test_cli_margins_without_a_point_takes_three(capsys):
    report = run_json(capsys, "margins", PRESS)
    assert [point["at_percent"] for point in report["points"]] == [20.0, 50.0, 80.0]


@pytest.mark.parametrize("ending", [".png", ".svg", ".pdf"])
def test_cli_margins_draws_a_figure(ending, tmp_path, capsys):
    figure = tmp_path / f"margins{ending}"
    assert main(["margins", PRESS, "--at", "50 %", "--plot", str(figure)]) == 0
    head = figure.read_bytes()[:200]
    assert (b"PNG" in head) or (b"<svg" in figure.read_bytes()) or (b"%PDF" in head)


def test_cli_margins_of_p_alone_without_any_crossing_says_none(tmp_path, capsys):
    text = shipped_scenario_path().read_text(encoding="utf-8")
    for old, new in (
        ('"1.5 %/%"', '"0.1 %/%"'),
        ('ti = "0.6 s"\n', ""),
        ('td = "0.08 s"\n', ""),
        ('tracking = "0.3 s"\n', ""),
    ):
        assert text.count(old) == 1
        text = text.replace(old, new)
    path = tmp_path / "weak.toml"
    path.write_text(text, encoding="utf-8")
    figure = tmp_path / "weak.png"
    assert main(["margins", str(path), "--plot", str(figure)]) == 0
    assert "none" in capsys.readouterr().out
    report = run_json(capsys, "margins", str(path))
    assert report["points"][0]["phase_margin_deg"] is None
    assert report["points"][0]["bandwidth_rad_s"] == 0.0


def test_cli_rules_of_a_model_prints_what_json_says(capsys):
    report = run_json(capsys, "rules", *MODEL)
    found = {rule["name"]: rule for rule in report["rules"]}
    simc = found["SIMC PI"]
    # Kc = T/(K 2 L), L = 20 ms and half a tick.
    assert simc["ideal"]["kc"] == pytest.approx(0.12 / (1.2 * 0.05))
    assert simc["stated_form"] == "series"
    assert simc["margins"]["stable"] is True
    assert found["Z-N step P"]["ideal"]["ti_s"] is None
    assert report["dead_time_counted_s"] == pytest.approx(0.025)
    assert [refused["name"] for refused in report["refused"]] == ["SIMC PID"]
    assert main(["rules", *MODEL]) == 0
    text = capsys.readouterr().out
    assert f"{simc['margins']['ms']:.2f}" in text
    assert f"{simc['parallel']['ki_per_s']:.4g}" in text
    assert "second-hand" in text
    assert "refused: SIMC PID" in text


def test_cli_rules_of_a_scenario_linearises_its_plant(capsys):
    report = run_json(capsys, "rules", PRESS, "--at", "50 %")
    half = report["models"][0]
    assert half["gain"] == pytest.approx(7.0 / 6.0, rel=1e-3)
    assert half["lags_s"][0] == pytest.approx(0.12, rel=0.2)
    assert any("small movements" in note for note in report["notes"])
    found = {rule["name"]: rule for rule in report["rules"]}
    assert "no series form" in found["AMIGO PID"]["series"]
    assert found["SIMC PID"]["series"]["td_s"] == pytest.approx(0.036, abs=0.001)
    errors = {m["name"]: m.get("error_at_ultimate_frequency") for m in report["models"]}
    assert errors["half rule, two lags"] < errors["half rule, one lag"] < 1.0


@pytest.mark.parametrize(
    "arguments",
    [
        [PRESS],
        MODEL,
        ["--rate", "30 %/s", "--delay", "30 ms", "--tick", "10 ms"],
        [*MODEL, "--second-lag", "0.05 s"],
    ],
    ids=["scenario", "one lag", "integrator", "two lags"],
)
def test_cli_rules_draws_a_figure(arguments, tmp_path, capsys):
    figure = tmp_path / "rules.png"
    assert main(["rules", *arguments, "--plot", str(figure)]) == 0
    assert figure.read_bytes().startswith(b"\x89PNG")


REFUSALS = {
    "share beyond the range": (["margins", PRESS, "--at", "120 %"], "0 ... 100 %"),
    "share without meaning": (["margins", PRESS, "--at", "3 bar gauge"], "--at"),
    "no such file": (["margins", "no-such.toml"], "no-such.toml"),
    "no picture": (["margins", PRESS, "--plot", "x.bmpx"], "bmpx"),
    "nothing given": (["rules"], "give a SCENARIO"),
    "no tick": (["rules", "--gain", "1", "--lag", "1 s"], "--tick: missing"),
    "no lag": (["rules", "--gain", "1", "--tick", "1 s"], "--gain and --lag"),
    "negative delay": (["rules", *MODEL, "--delay=-1 s"], "--delay: -1 must be 0"),
    "negative gain": (["rules", *MODEL, "--gain=-1"], "--gain: -1 must be above 0"),
    "lag of zero": (["rules", *MODEL, "--lag", "0 s"], "--lag: 0 must be above 0"),
    "lag without unit": (["rules", *MODEL, "--lag", "5"], "--lag"),
    "longer second lag": (["rules", *MODEL, "--second-lag", "1 s"], "longer one"),
    "integrator with a lag": (["rules", *MODEL, "--rate", "1 %/s"], "integrator"),
    "model at a point": (["rules", *MODEL, "--at", "50 %"], "no operating point"),
    "scenario with a tick": (["rules", PRESS, "--tick", "1 s"], "its own plant"),
    "many ticks of delay": (
        ["rules", *MODEL, "--delay", "100 s", "--plot", "x.png"],
        "longer tick",
    ),
}


@pytest.mark.parametrize("name", REFUSALS)
def test_cli_refuses_margins_and_rules_in_one_line(name, tmp_path, capsys):
    arguments, words = REFUSALS[name]
    os.chdir(tmp_path)
    assert main(arguments) == 2
    captured = capsys.readouterr()
    assert captured.err.count("\n") == 1
    assert words in captured.err
    assert not captured.out
    assert not list(tmp_path.iterdir())
