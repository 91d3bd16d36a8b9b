"""The races of tuning against rules: what counts as won, and what was written."""

import json
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench import tuning, tuning_race
from bench.tuning_figure import race_figure
from bench.tuning_plants import DRAWN, load_machine, scenario_text
from bench.tuning_race import TERMS, Check, Race, Worth, find_floor, race_machine
from bench.tuning_report import summary
from host_sim.errors import InputError
from host_sim.scenario.tuning import Limits
from host_sim.tune import tune
from host_sim.tune.bench import make_bench

RESULTS = Path(tuning.__file__).with_name("results")
MACHINE = {"processor": "some", "cores": "2", "load_average": "0.00"}
LIMITS = Limits(overshoot=0.2, ms=2.0, travel=6.0)
RULE = Worth("rule", 4.0, 0.2, 1.8, 3.0, 9.0, 0)
TUNED = Worth("chosen", 2.9, 0.15, 1.9, 2.0, 2.0, 0)
WON = Race(
    machine=0,
    arrangement="Direct",
    terms="any",
    rule=RULE,
    limits=LIMITS,
    tuned=TUNED,
    refusal="",
    checks=tuple(
        Check("slowest", run, 2.95, 0.16) for run in ("board", "exact", "finer")
    ),
    floor_s=2.0,
    processor_s=1.0,
    wall_s=1.0,
)


def test_bench_tuning_quicker_within_all_limits_is_won():
    assert WON.verdict == "won"
    assert WON.gain == pytest.approx(0.275)


@given(
    settling_s=st.floats(0.01, 3.0),
    beyond=st.floats(1e-9, 1.0),
    where=st.sampled_from(["tuned", "check"]),
)
def test_bench_tuning_breach_of_the_overshoot_limit_is_never_won(
    settling_s, beyond, where
):
    too_much = LIMITS.overshoot + beyond
    quick = replace(TUNED, settling_s=settling_s)
    held = replace(WON, tuned=quick)
    broken = {
        "tuned": replace(held, tuned=replace(quick, overshoot=too_much)),
        "check": replace(held, checks=(*WON.checks, replace_check(too_much))),
    }[where]
    assert held.verdict == "won"
    assert broken.verdict == "lost"


def replace_check(overshoot):
    return replace(WON.checks[0], overshoot=overshoot)


@pytest.mark.parametrize(
    "change",
    [
        {"settling_s": 3.01},
        {"ms": 2.01},
        {"ms": float("inf")},
        {"travel_strokes": 6.01},
        {"reversals": 4.0},
        {"unsettled": 1},
    ],
)
def test_bench_tuning_slower_or_beyond_a_limit_is_lost(change):
    assert replace(WON, tuned=replace(TUNED, **change)).verdict == "lost"


@pytest.mark.parametrize(
    ("change", "verdict"),
    [
        ({"tuned": None, "refusal": "limits.ms: ..."}, "lost"),
        ({"checks": ()}, "lost"),
        ({"checks": (replace(WON.checks[0], settling_s=None),)}, "lost"),
        ({"rule": None}, "no rule"),
    ],
)
def test_bench_tuning_missing_part_is_not_won(change, verdict):
    assert replace(WON, **change).verdict == verdict


@pytest.fixture(scope="module")
def small_bench(tmp_path_factory):
    scenario = load_machine(0, tmp_path_factory.mktemp("machine"))
    return make_bench(replace(scenario, family=replace(scenario.family, members=4)))


def test_bench_tuning_no_tuning_is_faster_than_the_floor(small_bench):
    floor_s = find_floor(small_bench)
    rows = small_bench.rule_rows()
    settled_s = [row.settling_s for row in rows if not row.unsettled]
    assert len(settled_s) > 5
    assert min(settled_s) >= floor_s > 0.5 * min(settled_s)


def test_bench_tuning_rules_race_as_the_terms_say(small_bench):
    rows = small_bench.rule_rows()
    limits = replace(small_bench.scenario.limits, ms=3.0)
    fit = [row for row in rows if not row.unsettled]
    chosen = tuning_race.quickest(rows, TERMS["any"], limits)
    assert chosen.settling_s == min(row.settling_s for row in fit)
    held = tuning_race.quickest(rows, TERMS["held"], limits)
    assert held.ms <= 3.0
    assert held.travel <= limits.travel
    assert held.settling_s >= chosen.settling_s


def test_bench_tuning_limit_of_overshoot_is_the_rules_own(small_bench, monkeypatch):
    asked = []

    def refuse(scenario, seed, progress):
        asked.append(scenario.limits)
        raise InputError("limits.ms: none")

    monkeypatch.setattr(tuning_race, "tune", refuse)
    races = race_machine(0, small_bench.scenario, lambda words, share: None)
    assert [race.terms for race in races] == list(TERMS)
    for race, limits in zip(races, asked, strict=True):
        assert race.verdict == ("no rule" if race.rule is None else "lost")
        assert race.limits == limits
        if race.rule is not None:
            assert limits.overshoot == max(0.01, race.rule.overshoot)


def test_bench_tuning_short_race_is_whole(small_bench, monkeypatch, tmp_path):
    monkeypatch.setattr(tune, "ROUNDS", (3, 3))
    scenario = small_bench.scenario
    monkeypatch.setattr(tuning, "load_machine", lambda *_: scenario)
    monkeypatch.setattr(tuning, "RESULTS", tmp_path)
    monkeypatch.setattr(tuning, "DRAWN", 1)
    assert tuning.main() == 0
    kept = json.loads((tmp_path / "tuning.json").read_text())
    assert len(kept["races"]) == len(TERMS)
    raced = kept["races"][0]
    assert len(raced["checks"]) == 6
    assert raced["tuned"]["settling_s"] > 0.0
    assert "against" in (tmp_path / "tuning.md").read_text().lower()
    assert (tmp_path / "tuning.png").stat().st_size > 10_000


def test_bench_tuning_stopped_shows_what_is_finished_and_writes_nothing(
    monkeypatch, tmp_path, capsys
):
    def stopped(machines, progress, finished):
        finished.append(WON)
        raise KeyboardInterrupt

    monkeypatch.setattr(tuning, "race_all", stopped)
    monkeypatch.setattr(tuning, "RESULTS", tmp_path)
    assert tuning.main() == tuning.STOPPED
    assert "won 1, lost 0" in capsys.readouterr().out
    assert list(tmp_path.iterdir()) == []


def test_bench_tuning_machines_are_the_same_again_and_differ():
    texts = [scenario_text(number) for number in range(DRAWN)]
    assert texts == [scenario_text(number) for number in range(DRAWN)]
    assert len(set(texts)) == DRAWN


def test_bench_tuning_summary_counts_every_race():
    races = [WON, replace(WON, rule=None), replace(WON, tuned=None), WON]
    assert summary(races).startswith("won 2, lost 1 (of these 0")
    assert summary(races).endswith("no rule to race 1")


def test_bench_tuning_figure_says_verdicts_and_refusals():
    refused = replace(WON, machine=1, tuned=None, refusal="limits.ms: none")
    figure = race_figure([WON, refused])
    words = [text.get_text() for text in figure.axes[0].texts]
    assert "won" in words
    assert "refused" in words
    assert "20" in words
