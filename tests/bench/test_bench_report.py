"""Timing, tables and figure of the host benchmarks, and their first runs."""

import json
import os
from itertools import count

import pytest

from bench import host, host_timing
from bench.host_answer import WrongAnswerError
from bench.host_case import CASE, load_case
from bench.host_code import count_codes
from bench.host_figure import ratio_figure
from bench.host_first_run import FirstRun, measure_first_runs
from bench.host_ours import record
from bench.host_report import as_json, as_markdown
from bench.host_results import PAIRS, Results
from bench.host_timing import Entrant, Speed, one_core, race
from host_sim.compiling.instructions import InstructionCount
from host_sim.loop.rig import make_rig


def entrant(name, seconds, calls):
    """Takes the given seconds, one after another, without waiting."""
    left = iter(seconds)

    def go():
        calls.append(name)
        return next(left)

    return Entrant(name, 100, go)


def test_race_takes_turns_and_leaves_out_the_first_round():
    calls = []
    entrants = [
        entrant("a", [0.2, 1.0, 0.5, 4.0], calls),
        entrant("b", [9.0, 2.0, 2.0, 2.0], calls),
    ]
    speeds = race(entrants, 3, lambda _: None)
    assert calls == ["a", "b"] * 4
    assert speeds["a"] == Speed("a", 100 / 0.5, 100 / 1.0)
    assert speeds["b"] == Speed("b", 50.0, 50.0)


def test_race_repeats_a_quick_entrant_within_its_round(monkeypatch):
    monkeypatch.setattr(host_timing, "ROUND_S", 0.1)
    calls = []
    quick = entrant("a", (0.04 / (1 + k % 3) for k in count()), calls)
    race([quick], 1, lambda _: None)
    assert len(calls) > 2


def test_race_ends_with_a_wrong_answer():
    def go():
        raise WrongAnswerError("a: words differs")

    with pytest.raises(WrongAnswerError):
        race([Entrant("a", 1, go)], 1, lambda _: None)


@pytest.mark.skipif(
    not hasattr(os, "sched_setaffinity"), reason="this system pins no process"
)
def test_one_core_gives_the_others_back():
    before = os.sched_getaffinity(0)
    with one_core():
        assert len(os.sched_getaffinity(0)) == 1
    assert os.sched_getaffinity(0) == before


@pytest.fixture
def results():
    """Results in which every engine of ours does 300, every peer 200 ticks/s."""
    speeds = {}
    for pair in PAIRS:
        names = speeds.setdefault(pair.race, {})
        names[pair.peer] = Speed(pair.peer, 200.0, 200.0)
    for pair in PAIRS:
        speeds[pair.race][pair.ours] = Speed(pair.ours, 300.0, 150.0)
    run = FirstRun(1.0, 2.0, 3.0)
    runs = {"case": {"compiled": run, "cached": run}}
    codes = {"case": {"lanes": InstructionCount(7, 6, 5, 4, 3, {"pow": 2})}}
    return Results(speeds, runs, codes, {"processor": "invented"})


def test_report_says_which_reach_is_met(results):
    text = as_markdown(results)
    assert (
        "| single | compiled | C -O3 -march=native | 1.5 | 0.75 | 0.85 | met |" in text
    )
    assert "| batch | lanes | C -O3 -march=native | 1.5 | 0.75 | 2 | missed |" in text
    assert "| single | compiled | plain Python | 1.5 | 0.75 |  |  |" in text
    assert "| case | compiled | 1.00 | 2.00 | 3.00 |" in text
    assert "| case | lanes | 7 | 6 | 5 | 4 | 3 | 2 pow |" in text


def test_report_in_json_has_every_pair_and_speed(results):
    numbers = json.loads(as_json(results))
    assert len(numbers["ratios"]) == len(PAIRS)
    assert numbers["ratios"][0]["times_as_fast_best"] == 1.5
    assert numbers["speeds"]["single"]["compiled"]["best_ticks_per_s"] == 300
    assert numbers["first_runs"]["case"]["compiled"]["lanes_s"] == 3.0
    assert numbers["codes"]["case"]["lanes"]["packed_double"] == 7


def test_report_figure_has_a_bar_for_every_pair(results):
    (panel,) = ratio_figure(results).axes
    assert len(panel.patches) == len(PAIRS)
    assert panel.get_xscale() == "log"


def test_command_writes_nothing_after_a_wrong_answer(tmp_path, monkeypatch, capsys):
    def wrong(*_):
        raise WrongAnswerError("lanes: marks of loop 3 differ")

    monkeypatch.setattr(host, "RESULTS", tmp_path)
    monkeypatch.setattr(host, "lacking", lambda *_: "")
    monkeypatch.setattr(host, "measure_all", wrong)
    assert host.main() == 1
    assert "marks of loop 3 differ" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_command_writes_table_figure_and_json(tmp_path, monkeypatch, results):
    monkeypatch.setattr(host, "RESULTS", tmp_path)
    monkeypatch.setattr(host, "lacking", lambda *_: "")
    monkeypatch.setattr(host, "measure_all", lambda *_: results)
    assert host.main() == 0
    names = sorted(path.name for path in tmp_path.iterdir())
    assert names == ["host.json", "host.md", "host.png"]


def test_command_says_what_is_missing(monkeypatch, capsys):
    monkeypatch.setattr(host, "lacking", lambda *_: "gcc")
    assert host.main() == 1
    assert "missing: gcc" in capsys.readouterr().err


def test_first_runs_compile_once():
    runs = measure_first_runs(CASE)
    assert runs["cached"].single_s < runs["compiled"].single_s
    assert runs["cached"].lanes_s < runs["compiled"].lanes_s


def test_codes_are_counted_and_no_cache_keeps_a_count():
    rig = make_rig(load_case())
    codes = count_codes(rig)
    if codes:
        assert codes["lanes"].packed_double > 100
        assert codes["single"].scalar_double > codes["single"].packed_double
    _, answer = record(rig, 2)
    assert answer.load_pa == pytest.approx([101_325.0, 101_325.0])
