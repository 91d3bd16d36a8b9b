"""`tune` and `tradeoff` from an identified model, as a user runs them."""

import json

import pytest
from tuning_bag import FEW, bag_file, press_file

from host_sim.cli.main import main
from host_sim.scenario.load import load_scenario, shipped_scenario_path
from host_sim.tune import front, tune
from host_sim.tune.identified import identified
from host_sim.tune.models_file import read_model

RECORD = shipped_scenario_path().with_name("veneer_press_steps.csv")


@pytest.fixture(autouse=True)
def few_generations(monkeypatch):
    monkeypatch.setattr(tune, "ROUNDS", FEW)
    monkeypatch.setattr(front, "FIRST_GENERATIONS", 3)
    monkeypatch.setattr(front, "GENERATIONS", 1)


@pytest.fixture(scope="module")
def model(tmp_path_factory):
    """What `identify` makes of the shipped record, invented as the press is."""
    path = tmp_path_factory.mktemp("model") / "press_model.toml"
    assert main(["identify", str(RECORD), "--model", str(path)]) == 0
    return path


@pytest.fixture
def press(tmp_path):
    return press_file(tmp_path / "press.toml")


def changed(model, tmp_path, *changes):
    text = model.read_text(encoding="utf-8")
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    path = tmp_path / "changed.toml"
    path.write_text(text, encoding="utf-8")
    return path


def line_of(model, key):
    return next(
        line for line in model.read_text().splitlines() if line.startswith(f"{key} = ")
    )


def run_json(capsys, command, *arguments):
    assert main([command, *map(str, arguments), "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def test_cli_tuning_model_of_the_shipped_record_serves_rules_and_margins(
    press, model, capsys
):
    report = run_json(capsys, "tune", press, "--model", model)
    (use,) = [note for note in report["notes"] if RECORD.name in note]
    assert "the rules were asked about its model" in use
    assert report["chosen"]["holds_limits"] is True
    # SIMC PI of the chosen first-order model: kc = lag / (2 gain delay), the delay
    # with computing, filter and half a tick; the gain over the press's 6 bar.
    held = read_model(model).model
    delay_s = held.dead_time_s + 0.010 + 0.010 + 0.005
    kc = held.time_constant_s / (2.0 * held.gain / 6e5 * delay_s)
    gains = {row["name"]: row["kc"] for row in report["rules"]}
    assert gains["SIMC PI"] == pytest.approx(kc, rel=1e-6)


@pytest.mark.parametrize("command", ["tune", "tradeoff"])
def test_cli_tuning_model_that_disagrees_with_the_scenario_is_noted(
    command, model, tmp_path, capsys
):
    """The press's model with a small bag's scenario."""
    bag = bag_file(tmp_path / "bag.toml")
    use, doubt = identified(load_scenario(bag), read_model(model)).notes
    assert "the rules were asked about its model" in use
    assert "times the gain that the scenario's does" in doubt
    assert main([command, str(bag), "--model", str(model)]) == 0
    out = " ".join(capsys.readouterr().out.split())
    for note in (use, doubt):
        assert f"note: {note}" in out


REFUSED = {
    "negative dead time": (
        [("dead_time_s", "dead_time_s = -0.05")],
        ["model.dead_time_s: -0.05 s; must be 0 s or more", "write 0"],
    ),
    "closed loop": (
        [("input_unit", 'input_unit = "mA"'), ("input", 'input = "Command [mA]"')],
        ["is in mA", "closed loop", "record the drive and identify again"],
    ),
    "set point for input": (
        [("input_unit", 'input_unit = "Pa"')],
        ["is in Pa", "closed loop"],
    ),
    "pressure that falls": (
        [("gain", "gain = -7e5")],
        ["veneer_press_steps.csv: gain: -1.16", "reverse the drive"],
    ),
    "no lag": ([("time_constant_s", "time_constant_s = 0.0")], ["must be above 0"]),
    "unknown key": (
        [("time_constant_s", "time_constant_s = 0.2\nlag_s = 1.0")],
        ["model.lag_s: unknown key", "the keys here are"],
    ),
}


@pytest.mark.parametrize("command", ["tune", "tradeoff"])
@pytest.mark.parametrize("name", REFUSED)
def test_cli_tuning_model_refused_in_one_line_and_nothing_written(
    command, name, press, model, tmp_path, capsys
):
    changes, words = REFUSED[name]
    bad = changed(
        model,
        tmp_path,
        *((line_of(model, key), line) for key, line in changes),
    )
    out = tmp_path / "out.toml"
    options = ["--write", str(out), "--choose", "1"]
    options = options[:2] if command == "tune" else options
    assert main([command, str(press), "--model", str(bad), *options]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1
    for word in words:
        assert word in said.err
    assert not out.exists()


def test_cli_tuning_model_missing_or_written_over_is_refused(
    press, model, tmp_path, capsys
):
    assert main(["tune", str(press), "--model", str(tmp_path / "no.toml")]) == 2
    assert "no such file" in capsys.readouterr().err
    before = model.read_text()
    options = ["--model", str(model), "--write", str(model)]
    assert main(["tune", str(press), *options]) == 2
    assert "named twice" in capsys.readouterr().err
    assert model.read_text() == before
