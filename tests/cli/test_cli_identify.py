"""`identify` as a user runs it: tables, JSON, files, refusals; the shipped record."""

import json
import re

import numpy as np
import pytest
from bag_records import bag_record
from identify_records import step_record
from press_record import RECORD, record_text

from host_sim.cli.main import main
from host_sim.scenario.load import load_scenario, shipped_scenario_path
from host_sim.tune.models import FIRST, INTEGRATING, SECOND, Model
from host_sim.tune.models_file import read_model


def run_json(capsys, *arguments):
    assert main(["identify", *map(str, arguments), "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def written(path, record, header="time [s],drive [%],pressure [bar gauge]"):
    """Write a record as a logger would."""
    bars = (record.pressure_pa - 101_325.0) / 1e5
    rows = zip(record.time_s, 100 * record.input, bars, strict=True)
    lines = [header, *(f"{t:.3f},{u:.4g},{p:.5f}" for t, u, p in rows)]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


@pytest.fixture
def plain(tmp_path):
    model = Model(FIRST, 1e5, 0.2, 1.0)
    return written(tmp_path / "step.csv", step_record(model, noise=0.005))


def test_shipped_record_is_what_the_simulator_makes():
    stored = RECORD.read_text(encoding="utf-8").splitlines()
    made = record_text().splitlines()
    numbers = [
        [float(cell.replace(",", ".")) for cell in line.split(";")]
        for text in (stored, made)
        for line in text
        if line[0].isdigit()
    ]
    half = len(numbers) // 2
    # A last digit may fall either way where a compiler of the C library rounds
    # otherwise.
    assert np.array(numbers[:half]) == pytest.approx(np.array(numbers[half:]), abs=2e-3)
    assert [line for line in stored if not line[0].isdigit()] == [
        line for line in made if not line[0].isdigit()
    ]


def test_identify_shipped_record_prints_what_json_says(capsys, tmp_path):
    figure, model = tmp_path / "fit.png", tmp_path / "press.toml"
    report = run_json(capsys, RECORD, "--plot", figure, "--model", model)
    assert main(["identify", str(RECORD)]) == 0
    text = capsys.readouterr().out
    best = report["fits"][0]
    assert report["chosen"] == best["form"]
    assert {fit["form"] for fit in report["fits"]} == {FIRST, SECOND, INTEGRATING}
    assert len(report["steps"]) == 4
    # Full drive of the pilot asks for 7 bar gauge.
    low, high = best["intervals"]["gain_pa_per_input_unit"]
    assert low < 7e5 < high
    assert f"{best['dead_time_s']:.4g}" in text
    assert "0.07" in text
    assert "Drive [%]" in text
    assert "relief valve" in text
    assert "next: keep the linear model" in text
    assert figure.read_bytes().startswith(b"\x89PNG")
    held = read_model(model)
    assert held.model.form == report["chosen"]
    assert held.model.gain == best["gain_pa_per_input_unit"]
    assert sorted(path.name for path in tmp_path.iterdir()) == ["fit.png", "press.toml"]


def test_identify_with_a_scenario_adds_volume_and_conductances(capsys, tmp_path):
    bench = load_scenario(shipped_scenario_path("press_bag_recorded.toml"))
    record = written(
        tmp_path / "bag.csv",
        bag_record(bench, np.random.default_rng(1), noise=0.002, interval_s=0.06),
    )
    scenario = shipped_scenario_path("press_bag_recorded.toml")
    figure = tmp_path / "bag.svg"
    options = ["--scenario", str(scenario), "--known", "conductance"]
    assert main(["identify", str(record), *options, "--plot", str(figure)]) == 0
    text = capsys.readouterr().out
    assert "conductance known" in text
    volume_l = float(re.search(r"load\.volume +(\S+) L", text)[1])
    assert volume_l == pytest.approx(10.0, rel=0.05)
    assert "valve.fill.conductance" not in text
    assert "valve.exhaust.conductance" in text
    assert "fill over volume" in text
    assert "<svg" in figure.read_text()


def test_identify_reads_the_csv_of_a_run(capsys, tmp_path):
    run = tmp_path / "run.csv"
    scenario = shipped_scenario_path("press_bag_recorded.toml")
    short = tmp_path / "short.toml"
    text = scenario.read_text().replace('"25 s"', '"3 s"')
    text = text.replace(
        'recording = "recorded_command.csv"',
        'steps = [["0 s", "4 mA"], ["1 s", "9 mA"], ["2 s", "6 mA"]]',
    )
    text = text.replace(
        'changes = [["12 s", "6.5 bar gauge"], ["20 s", "8 bar gauge"]]', ""
    )
    short.write_text(text)
    assert main(["step", str(short), "--csv", str(run)]) == 0
    assert main(["identify", str(run)]) == 2
    err = capsys.readouterr().err
    assert "5 columns may be the input" in err
    assert "--input" in err
    report = run_json(
        capsys,
        run,
        "--input",
        "drive_percent",
        "--pressure",
        "load_pa",
        "--scenario",
        short,
    )
    assert report["plant"]["fill_m3_s_pa"] == pytest.approx(1.5e-8, rel=0.03)


def test_identify_a_command_says_that_the_loop_is_closed(capsys, tmp_path):
    model = Model(SECOND, 2e5, 0.1, 0.4, 0.6)
    record = step_record(model, noise=0.003)
    path = written(
        tmp_path / "loop.csv", record, "time [s],command [mA],pressure [bar gauge]"
    )
    report = run_json(capsys, path)
    assert "closed loop" in report["assumed"]
    assert report["input_unit"] == "mA"
    assert report["chosen"] == SECOND
    assert main(["identify", str(path)]) == 0
    assert "bar/mA" in capsys.readouterr().out


def test_identify_keeps_a_known_dead_time(capsys, plain):
    report = run_json(capsys, plain, "--dead-time", "150 ms")
    assert all(fit["dead_time_s"] == 0.15 for fit in report["fits"])


REFUSALS = {
    "missing file": (["no-such.csv"], "no such file"),
    "negative dead time": (["--dead-time", "-0.1 s"], "must be 0 s or more"),
    "dead time without unit": (["--dead-time", "0.1"], "unit"),
    "known without scenario": (["--known", "volume"], "add --scenario"),
    "column": (["--pressure", "p9"], "no such column"),
    "picture": (["--plot", "fit.bmpx"], "bmpx"),
    "folder": (["--model", "nowhere/m.toml"], "nowhere"),
    "another arrangement": (
        ["--scenario", str(shipped_scenario_path())],
        "leave the scenario out",
    ),
}


@pytest.mark.parametrize("name", REFUSALS)
def test_identify_refuses_in_one_line_and_writes_nothing(
    name, plain, tmp_path, capsys, monkeypatch
):
    monkeypatch.chdir(tmp_path)
    arguments, words = REFUSALS[name]
    if not arguments[0].endswith(".csv"):
        arguments = [str(plain), *arguments]
    before = sorted(tmp_path.iterdir())
    assert main(["identify", *arguments]) == 2
    err = capsys.readouterr().err
    assert err.count("\n") == 1
    assert words in err
    assert sorted(tmp_path.iterdir()) == before


def test_identify_refuses_a_short_record_without_writing(tmp_path, capsys):
    model = Model(FIRST, 1e5, 0.2, 1.0)
    short = written(tmp_path / "short.csv", step_record(model, duration_s=3.0))
    outputs = [tmp_path / "m.toml", tmp_path / "f.png"]
    arguments = ["--model", str(outputs[0]), "--plot", str(outputs[1])]
    assert main(["identify", str(short), *arguments]) == 2
    assert "still moving" in capsys.readouterr().err
    assert not any(path.exists() for path in outputs)


def test_identify_never_writes_over_its_record(plain, capsys):
    text = plain.read_text()
    assert main(["identify", str(plain), "--model", str(plain)]) == 2
    assert "named twice" in capsys.readouterr().err
    assert plain.read_text() == text
