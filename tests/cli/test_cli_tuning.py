"""`tune` and `tradeoff` end to end, on a family small enough for a test."""

import json
import tomllib
from dataclasses import replace

import numpy as np
import pytest
from tuning_bag import FEW, bag_file, tuned_bag, usual

from host_sim.cli.main import main
from host_sim.law.quantise import quantise
from host_sim.loop.compiled import run_compiled
from host_sim.measure.answer import measure_run
from host_sim.scenario.load import load_scenario
from host_sim.tune import front, tune
from host_sim.tune.reasons import notes, reasons
from host_sim.tune.verify import verify


@pytest.fixture(autouse=True)
def few_generations(monkeypatch):
    monkeypatch.setattr(tune, "ROUNDS", FEW)
    monkeypatch.setattr(front, "FIRST_GENERATIONS", 6)
    monkeypatch.setattr(front, "GENERATIONS", 2)


@pytest.fixture
def bag(tmp_path):
    return bag_file(tmp_path / "bag.toml")


@pytest.fixture(scope="module")
def tuned():
    return usual()


def test_cli_tuning_same_seed_finds_the_same_and_holds_its_limits(bag, tuned):
    again = tuned_bag(load_scenario(bag))
    assert again.choice == tuned.choice
    assert again.best.law == tuned.best.law
    assert quantise(again.best.law).words == quantise(tuned.best.law).words
    assert tuned.best.holds(tuned.scenario.limits)
    assert tuned.best.settling_s < tuned.present.settling_s


def test_cli_tuning_score_is_that_of_whole_records(tuned):
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


def test_cli_tuning_holds_in_exact_numbers_and_on_a_finer_plant(tuned):
    board, *others = verify(tuned.best.slowest.scenario, tuned.best.law)
    assert board.settling_s == pytest.approx(tuned.best.settling_s, rel=1e-9)
    for other in others:
        assert other.settling_s == pytest.approx(board.settling_s, rel=0.05)
        assert other.overshoot <= tuned.scenario.limits.overshoot


def test_cli_tuning_writes_a_scenario_and_a_block_that_agree(bag, tmp_path, capsys):
    written, block = tmp_path / "tuned.toml", tmp_path / "block.json"
    picture = tmp_path / "tuned.png"
    options = ["--write", written, "--block", block, "--plot", picture, "--json"]
    assert main(["tune", str(bag), *map(str, options)]) == 0
    report = json.loads(capsys.readouterr().out)
    words = json.loads(block.read_text())["words"]
    assert report["block"]["words"] == words
    kept = quantise(load_scenario(written).law)
    assert {name: kept[name] for name in words} == words
    assert report["chosen"]["holds_limits"] is True
    assert report["chosen"]["worst_settling_s"] > 0.0
    assert picture.stat().st_size > 10_000
    text = written.read_text(encoding="utf-8")
    assert "# One air bag of the invented veneer press on a bench" in text
    before, after = tomllib.loads(bag.read_text()), tomllib.loads(text)
    for table in ("plant", "load", "family", "limits", "gain_sets"):
        assert before[table] == after[table]


def test_cli_tuning_table_says_what_was_found(bag, tuned, capsys):
    assert main(["tune", str(bag)]) == 0
    table = " ".join(capsys.readouterr().out.split())
    for sentence in reasons(tuned):
        assert " ".join(sentence.split()) in table
    for note in notes(tuned.bench):
        assert f"note: {' '.join(note.split())}" in table
    assert f"{tuned.best.settling_s:.2f}" in table
    assert "relief valve" in table


def test_cli_tradeoff_front_is_beaten_by_nothing_and_a_point_is_written(
    bag, tmp_path, capsys
):
    written, block = tmp_path / "point.toml", tmp_path / "point.json"
    picture = tmp_path / "front.png"
    options = ["--choose", "2", "--write", written, "--block", block, "--plot", picture]
    assert main(["tradeoff", str(bag), *map(str, options), "--json"]) == 0
    report = json.loads(capsys.readouterr().out)
    names = (
        "worst_settling_s",
        "worst_overshoot_percent",
        "worst_travel_strokes_per_step",
    )
    points = report["front"]
    figures = np.array([[point[name] for name in names] for point in points])
    for one in figures:
        no_worse = (figures <= one).all(axis=1)
        assert not (no_worse & (figures < one).any(axis=1)).any()
    assert (np.diff(figures[:, 0]) <= 0.0).all()
    for point in points:
        assert point["ms"] <= 2.5
        assert point["steps_not_settled"] == 0
    holding = [point["name"] for point in points if point["holds_limits"]]
    assert report["recommended"] == holding[-1]
    law = load_scenario(written).law
    assert law.pid.gains.kp == pytest.approx(points[1]["kc"], rel=1e-9)
    words = json.loads(block.read_text())["words"]
    assert {name: quantise(law)[name] for name in words} == words
    assert picture.stat().st_size > 10_000
