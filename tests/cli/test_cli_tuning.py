"""`tune` and `tradeoff` end to end, on a family small enough for a test."""

import json
import tomllib
from dataclasses import replace

import numpy as np
import pytest

from host_sim.cli.main import main
from host_sim.errors import InputError
from host_sim.law.quantise import quantise
from host_sim.loop.compiled import run_compiled
from host_sim.measure.answer import measure_run
from host_sim.scenario.load import load_scenario, shipped_scenario_path
from host_sim.tune import front, tune
from host_sim.tune.front import trade_off
from host_sim.tune.verify import verify

MEMBERS = 8
FEW = (3, 3)


@pytest.fixture(autouse=True)
def few_generations(monkeypatch):
    monkeypatch.setattr(tune, "ROUNDS", FEW)
    monkeypatch.setattr(front, "ROUNDS", FEW, raising=False)


def press_text(**changes):
    """The shipped press with a small family and wide limits."""
    text = shipped_scenario_path().read_text(encoding="utf-8")
    family = {"members": MEMBERS, **changes.get("family", {})}
    limits = {"overshoot": '"40 %"', "ms": 3, **changes.get("limits", {})}
    for name, keys in (("family", family), ("limits", limits)):
        rows = "".join(f"{key} = {value}\n" for key, value in keys.items())
        text += f"\n[{name}]\n{rows}"
    return text


@pytest.fixture
def press(tmp_path):
    def write(**changes):
        path = tmp_path / "press.toml"
        path.write_text(press_text(**changes), encoding="utf-8")
        return path

    return write


def found(path, seed=1):
    return tune.tune(load_scenario(path), seed, lambda words, share: None)


def test_cli_tuning_same_seed_finds_the_same_and_holds_its_limits(press):
    path = press()
    first, second = found(path), found(path)
    assert first.choice == second.choice
    assert first.best.law == second.best.law
    assert quantise(first.best.law).words == quantise(second.best.law).words
    assert first.best.holds(first.scenario.limits)
    assert first.best.settling_s <= first.present.settling_s


def test_cli_tuning_score_is_that_of_whole_records(press):
    tuned = found(press())
    worst_s, worst_overshoot = 0.0, 0.0
    for machine in tuned.bench.machines:
        scenario = replace(machine.member.scenario, law=tuned.best.law)
        answer = measure_run(scenario, run_compiled(scenario))
        worst_s = max(worst_s, sum(step.settling_band_s for step in answer.steps))
        worst_overshoot = max(
            worst_overshoot, *(step.overshoot_percent or 0.0 for step in answer.steps)
        )
    assert tuned.best.settling_s == pytest.approx(worst_s, rel=1e-9)
    assert 100 * tuned.best.overshoot == pytest.approx(worst_overshoot, abs=1e-6)


def test_cli_tuning_holds_in_exact_numbers_and_on_a_finer_plant(press):
    tuned = found(press())
    board, *others = verify(tuned.best.slowest.scenario, tuned.best.law)
    assert board.settling_s == pytest.approx(tuned.best.settling_s, rel=1e-9)
    for other in others:
        assert other.settling_s == pytest.approx(board.settling_s, rel=0.05)
        assert other.overshoot <= tuned.scenario.limits.overshoot


def test_cli_tuning_writes_a_scenario_and_a_block_that_agree(press, tmp_path, capsys):
    path, written = press(), tmp_path / "tuned.toml"
    block, picture = tmp_path / "block.json", tmp_path / "tuned.png"
    options = ["--write", written, "--block", block, "--plot", picture, "--json"]
    assert main(["tune", str(path), *map(str, options)]) == 0
    report = json.loads(capsys.readouterr().out)
    words = json.loads(block.read_text())["words"]
    assert report["block"]["words"] == words
    law = load_scenario(written).law
    kept = quantise(law)
    assert {name: kept[name] for name in words} == pytest.approx(words, abs=1)
    assert report["chosen"]["holds_limits"] is True
    assert report["chosen"]["worst_settling_s"] > 0.0
    assert picture.stat().st_size > 10_000
    # The user's own words stay.
    text = written.read_text(encoding="utf-8")
    assert "# The pilot stage: full drive asks for 7 bar gauge." in text
    before, after = tomllib.loads(path.read_text()), tomllib.loads(text)
    assert before["plant"] == after["plant"]
    assert before["load"] == after["load"]


def test_cli_tuning_refuses_limits_that_nothing_holds(press):
    path = press(limits={"overshoot": '"40 %"', "travel": '"0.1"'})
    with pytest.raises(
        InputError, match=r"limits\.travel: .*(settle every|strokes a step)"
    ):
        found(path)


def test_cli_tuning_refuses_a_supply_that_cannot_hold_the_set_point(press, capsys):
    path = press(family={"supply": '"60 %"'})
    assert main(["tune", str(path)]) == 2
    said = capsys.readouterr().err
    assert "cannot hold" in said
    assert "narrow family.supply" in said
    assert said.count("\n") == 1


def test_cli_tradeoff_front_is_beaten_by_nothing(press):
    told = trade_off(load_scenario(press()), 1, lambda words, share: None)
    figures = np.array([(r.settling_s, r.overshoot, r.travel) for r in told.front])
    for one in figures:
        no_worse = (figures <= one).all(axis=1)
        assert not (no_worse & (figures < one).any(axis=1)).any()
    assert all(row.ms <= told.scenario.limits.ms for row in told.front)
    assert (np.diff(figures[:, 0]) <= 0.0).all()


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--write", "OUT"], "--choose: missing"),
        (["--choose", "0", "--block", "OUT"], "the front has points 1 ..."),
        (["--plot", "picture.txt"], "no picture"),
    ],
)
def test_cli_tradeoff_refuses_what_it_cannot_do(press, tmp_path, capsys, options, said):
    out = tmp_path / "out.toml"
    given = [str(out) if option == "OUT" else option for option in options]
    assert main(["tradeoff", str(press()), *given]) == 2
    assert said in capsys.readouterr().err
    assert not out.exists()
