"""The search: within its box, the same for a seed, at the optimum where it is known.

The plants stand aside for a bowl whose lowest point is written down; everything else
is the search as it is.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tuning_bag import bag

from host_sim.scenario.tuning import Limits
from host_sim.tune import seeker as seeking
from host_sim.tune.bench import make_bench
from host_sim.tune.choice import Box
from host_sim.tune.search import MARGIN, Problem, Tried, first_population, search
from host_sim.tune.seeker import Seeker

WIDE = Limits(overshoot=1.0, ms=10.0, travel=1e6)
LOW = [0.1, 0.1, 0.01, 1.0, 0.03]
HIGH = [10.0, 10.0, 1.0, 30.0, 3.0]
BOX = Box(
    np.append(np.log(LOW), [0.0, 0.001, 0.0]),
    np.append(np.log(HIGH), [1.0, 0.02, 1.0]),
)


@dataclass(frozen=True)
class Bowl(Problem):
    """``settling = 1 + |point - lowest|^2`` with the box for its unit.

    The overshoot is a tenth of kc: a limit on it cuts the bowl off there.
    """

    lowest: tuple[float, ...]

    def try_choices(self, choices):
        span = BOX.high - BOX.low
        return [
            Tried(
                choice=choice,
                settling_s=1.0
                + float((((BOX.point(choice) - self.lowest) / span) ** 2).sum()),
                overshoot=choice.kc / 10.0,
                travel=1.0,
                ms=1.5,
                reversals=0.0,
            )
            for choice in choices
        ]


def bowl(share, limits=WIDE):
    lowest = tuple((BOX.low + share * (BOX.high - BOX.low)).tolist())
    return Bowl(None, (), (), (), limits, lowest)


def sought(problem, seed, generations):
    random, calls = np.random.default_rng(seed), []
    population = first_population(BOX, [], random)
    tried, last = search(
        problem, BOX, population, generations, random, lambda: calls.append(1)
    )
    return tried, last, len(calls)


@given(share=st.floats(0.0, 1.0), seed=st.integers(0, 100))
def test_search_stays_in_its_box_and_puts_the_best_first(share, seed):
    problem = bowl(share)
    tried, last, generations = sought(problem, seed, 4)
    assert generations == 4
    assert len(tried) == 4 * len(last)
    costs = [problem.cost(each) for each in tried]
    assert costs == sorted(costs)
    assert (last >= BOX.low).all()
    assert (last <= BOX.high).all()
    for each in tried:
        choice, rounding = each.choice, 1e-3
        assert LOW[0] * (1 - rounding) <= choice.kc <= HIGH[0] * (1 + rounding)
        assert LOW[1] * (1 - rounding) <= choice.ti_s <= HIGH[1] * (1 + rounding)
        assert 0.0 <= choice.weight <= 1.0
        assert 0.001 - 2e-5 <= choice.deadband <= 0.02 + 2e-5


def test_search_same_seed_tries_the_same():
    first, again, other = (sought(bowl(0.4), seed, 5)[0] for seed in (3, 3, 4))
    assert first == again
    assert first != other


@pytest.mark.parametrize("share", [0.2, 0.5, 0.9])
def test_search_finds_the_lowest_point_of_a_bowl(share):
    problem = bowl(share)
    best = sought(problem, 1, 120)[0][0]
    assert best.settling_s == pytest.approx(1.0, abs=1e-3)
    assert (BOX.point(best.choice) - BOX.low) / (BOX.high - BOX.low) == pytest.approx(
        share, abs=0.03
    )


def test_search_stops_at_the_limit_that_cuts_the_bowl_off():
    """The bowl is lowest at kc 10 ** 0.6; 30 % overshoot, less the margin, is 2.91."""
    problem = bowl(0.8, replace(WIDE, overshoot=0.3))
    best = sought(problem, 1, 120)[0][0]
    assert best.overshoot <= MARGIN * 0.3
    assert best.choice.kc == pytest.approx(MARGIN * 3.0, rel=0.02)


def test_search_prefers_any_choice_that_holds_the_limits():
    problem = bowl(0.5, replace(WIDE, overshoot=0.1))
    slow, broken = (
        replace(problem.try_choices([BOX.choice(BOX.low)])[0], **figures)
        for figures in (
            {"settling_s": 1e5, "overshoot": 0.05},
            {"settling_s": 0.1, "overshoot": 0.2},
        )
    )
    worse = replace(broken, overshoot=0.3)
    lost = replace(broken, overshoot=math.inf, settling_s=math.inf)
    costs = [problem.cost(each) for each in (slow, broken, worse, lost)]
    assert costs == sorted(costs)
    assert len(set(costs)) == 4
    assert all(math.isfinite(cost) for cost in costs)


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    return make_bench(bag(tmp_path_factory.mktemp("bag")))


def new_seeker(bench, seed=1):
    present, rows = bench.reference_rows()
    return Seeker(bench, seed, [present, *rows])


def test_seeker_begins_at_the_rules_and_ranks_on_the_whole_family(bench):
    seeker = new_seeker(bench)
    told = []
    tried = seeker.go_on(2, lambda: told.append(1))
    assert len(told) == 2
    assert seeker.tries == len(tried)
    # The first generation has every rule's proposal, as the box holds it.
    first = {each.choice for each in tried}
    for start in bench.starts:
        assert bench.box.choice(bench.box.point(start)) in first
    limits = bench.scenario.limits
    ranks = [row.rank(limits) for _, row in seeker.finalists]
    assert ranks == sorted(ranks)
    choice, best = seeker.finalists[0]
    (again,) = bench.rows(["chosen"], [choice.law(bench.scenario.law)])
    assert again == best


def test_seeker_same_seed_finds_the_same(bench):
    def finalists(seed):
        seeker = new_seeker(bench, seed)
        seeker.go_on(2, lambda: None)
        return [choice for choice, _ in seeker.finalists]

    assert finalists(1) == finalists(1)
    assert finalists(1) != finalists(2)


def test_seeker_next_round_has_the_machines_that_bind(bench, monkeypatch):
    problems = []

    def watched(problem, *others):
        problems.append(problem)
        return search(problem, *others)

    monkeypatch.setattr(seeking, "search", watched)
    seeker = new_seeker(bench)
    seeker.go_on(2, lambda: None)
    _, best = seeker.finalists[0]
    seeker.go_on(1, lambda: None)
    names = [machine.member.name for machine in problems[-1].machines]
    assert "the scenario's own machine" in names
    assert best.slowest.name in names
    assert best.worst["ms"] in [loop.name for loop in problems[-1].loops]
    assert best.worst["hunting"] in [each.name for each in problems[-1].resting]
    assert len(names) < len(bench.machines)
