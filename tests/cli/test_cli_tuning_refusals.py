"""Bad input of learning and tuning: one line with the remedy, nothing written."""

import re

import numpy as np
import pytest
from identify_records import step_record
from tuning_bag import FEW, bag_file

from host_sim.cli.main import main
from host_sim.tune import front, tune
from host_sim.tune.models import FIRST, Model

LAG = Model(FIRST, 1e5, 0.2, 1.0)
HEADER = "time [s],drive [%],pressure [bar gauge]"


@pytest.fixture(autouse=True)
def few_generations(monkeypatch):
    monkeypatch.setattr(tune, "ROUNDS", FEW)
    monkeypatch.setattr(front, "FIRST_GENERATIONS", 3)
    monkeypatch.setattr(front, "GENERATIONS", 1)


def refusal(capsys, arguments):
    """Run a command that must refuse; return its one line."""
    assert main([str(argument) for argument in arguments]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1
    assert said.err.startswith("integer-pilot: ")
    return said.err


def record_file(path, header=HEADER, rows=None, columns=(0, 1, 2), **options):
    record = step_record(LAG, noise=0.005, **options)
    bars = (record.pressure_pa - 101_325.0) / 1e5
    table = np.column_stack([record.time_s, 100 * record.input, bars])[:rows]
    lines = [",".join(f"{row[k]:.5f}" for k in columns) for row in table]
    path.write_text("\n".join([header, *lines]) + "\n", encoding="utf-8")
    return path


RECORDS = {
    "no unit of pressure": (
        {"header": "time [s],drive [%],pressure"},
        ["pressure", "unit", "[bar gauge]"],
    ),
    "no unit of time": (
        {"header": "time,drive [%],pressure [bar gauge]"},
        ["time", "unit", "[s]"],
    ),
    "no unit of input": (
        {"header": "time [s],drive,pressure [bar gauge]"},
        ["drive", "unit", "[%]"],
    ),
    "no time": (
        {"header": "drive [%],pressure [bar gauge]", "columns": (1, 2)},
        ["time"],
    ),
    "neither gauge nor absolute": (
        {"header": "time [s],drive [%],pressure [bar]"},
        ["'bar' is neither gauge nor absolute", "[bar gauge]"],
    ),
    "19 samples": ({"rows": 19}, ["19", "20"]),
    "overlapping steps": (
        {"times_s": (2.0, 2.5), "levels": (0.0, 0.3, 0.5)},
        ["steps at 1.99 s and 2.49 s overlap", "wait", "or cut the record"],
    ),
}


@pytest.mark.parametrize("name", RECORDS)
def test_cli_tuning_refuses_a_record_that_cannot_answer(name, tmp_path, capsys):
    options, words = RECORDS[name]
    record = record_file(tmp_path / "step.csv", **options)
    outputs = [tmp_path / "model.toml", tmp_path / "fit.png"]
    said = refusal(
        capsys, ["identify", record, "--model", outputs[0], "--plot", outputs[1]]
    )
    for word in words:
        assert word in said
    assert not any(path.exists() for path in outputs)


def test_cli_tuning_refuses_a_negative_dead_time(tmp_path, capsys):
    record = record_file(tmp_path / "step.csv")
    said = refusal(capsys, ["identify", record, "--dead-time", "-0.1 s"])
    assert "--dead-time: '-0.1 s' is negative; must be 0 s or more" in said


NUMBER = r"[\d.]+"
WHERE = r", on [^;]+; raise the limit"
LIMITS = {
    "travel": (
        {"travel": 0.1},
        rf"limits\.travel: no gains found .* reach {NUMBER} strokes a step against "
        rf"0\.1{WHERE}",
    ),
    "travel and overshoot": (
        {"travel": 0.1, "overshoot": '"0.1 %"'},
        rf"limits\.(travel|overshoot): no gains found .* reach {NUMBER} "
        rf"(strokes a step|%) against 0\.1( %)?{WHERE}",
    ),
}


@pytest.mark.parametrize("name", LIMITS)
def test_cli_tuning_refuses_limits_that_nothing_holds(name, tmp_path, capsys):
    limits, words = LIMITS[name]
    path = bag_file(tmp_path / "bag.toml", limits=limits)
    outputs = [tmp_path / name for name in ("t.toml", "t.json", "t.png")]
    options = ["--write", outputs[0], "--block", outputs[1], "--plot", outputs[2]]
    said = refusal(capsys, ["tune", path, *options])
    assert re.search(words, said), said
    assert not any(output.exists() for output in outputs)


@pytest.mark.parametrize("command", ["tune", "tradeoff"])
def test_cli_tuning_refuses_a_member_that_cannot_reach_its_set_point(
    command, tmp_path, capsys
):
    path = bag_file(tmp_path / "bag.toml", family={"supply": '"60 %"'})
    out = tmp_path / "out.toml"
    options = ["--choose", 1] if command == "tradeoff" else []
    said = refusal(capsys, [command, path, "--write", out, *options])
    assert "family: corner: -60 % supply" in said
    assert "cannot hold 4.763 bar absolute" in said
    assert "narrow family.supply, raise the supply, or lower the set point" in said
    assert not out.exists()


def test_cli_tuning_refuses_a_command_without_a_step(tmp_path, capsys):
    path = bag_file(tmp_path / "bag.toml", (', ["2 s", "14 mA"], ["6 s", "11 mA"]', ""))
    assert "profile: no step of 1 %" in refusal(capsys, ["tune", path])


def test_cli_tradeoff_refuses_a_front_of_nothing(tmp_path, capsys, monkeypatch):
    monkeypatch.setattr(front, "_is_sound", lambda row, limits: False)
    path = bag_file(tmp_path / "bag.toml", limits={"ms": 1.1})
    said = refusal(capsys, ["tradeoff", path])
    assert re.search(
        rf"limits\.ms: no gains found .* reach {NUMBER} against 1\.1|"
        r"profile: no gains found settle every step .* leave \d of them",
        said,
    )


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--write", "OUT"], "--choose: missing"),
        (["--choose", "0", "--block", "OUT"], "the front has points 1 ..."),
        (["--plot", "picture.txt"], "no picture"),
    ],
)
def test_cli_tradeoff_refuses_what_it_cannot_do(tmp_path, capsys, options, said):
    out = tmp_path / "out.toml"
    given = [out if option == "OUT" else option for option in options]
    path = bag_file(tmp_path / "bag.toml")
    assert said in refusal(capsys, ["tradeoff", path, *given])
    assert not out.exists()
