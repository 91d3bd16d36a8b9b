"""Laws tried in lanes score what whole records of them say."""

import math
from dataclasses import dataclass, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tuning_bag import bag, press
from tuning_checks import check_scores

from host_sim.law.settings import Gains
from host_sim.scenario.load import Scenario
from host_sim.tune.box import box_around
from host_sim.tune.choice import Box
from host_sim.tune.family import make_family
from host_sim.tune.trials import Machine, make_machines, try_laws

GAINS = [Gains.from_ideal(0.5, 2.0, 0.02), Gains.from_ideal(10.0, 0.2, 0.05)]


@dataclass(frozen=True, repr=False)
class Tried:
    """A scenario, its machines, and a box of choices for it."""

    scenario: Scenario
    machines: list[Machine]
    box: Box


@pytest.fixture(scope="module")
def benches(tmp_path_factory):
    folder = tmp_path_factory.mktemp("trials")
    return [
        Tried(each, make_machines(make_family(each)), box_around(GAINS, each))
        for each in (bag(folder), press(folder))
    ]


@settings(max_examples=15)
@given(place=st.lists(st.floats(0.0, 1.0), min_size=8, max_size=8))
@pytest.mark.parametrize("which", [0, 1], ids=["bag", "press"])
def test_trials_score_random_laws_as_whole_records_do(which, place, benches):
    bench = benches[which]
    point = bench.box.low + np.array(place) * (bench.box.high - bench.box.low)
    law = bench.box.choice(point).law(bench.scenario.law)
    check_scores(law, bench.machines[:2])


def test_trials_meet_steps_that_settle_and_steps_that_do_not(benches):
    """So that the agreement above was about both."""
    bench = benches[0]
    quick, slow = (
        replace(bench.scenario.law, pid=replace(bench.scenario.law.pid, gains=gains))
        for gains in (Gains(8.0, 8.0), Gains(0.1))
    )
    scores = try_laws([quick, slow], bench.machines)
    assert not scores.unsettled[0].any()
    assert scores.unsettled[1].all()
    assert (scores.settling_s[1] > scores.settling_s[0]).all()
    for law in (quick, slow):
        check_scores(law, bench.machines[:2])


def test_trials_of_a_law_that_the_board_cannot_keep_are_infinite(benches):
    bench, law = benches[0], benches[0].scenario.law
    lost = replace(law, pid=replace(law.pid, gains=Gains(1e5)))
    scores = try_laws([law, lost, law], bench.machines)
    for name in ("settling_s", "overshoot", "travel"):
        part = getattr(scores, name)
        assert np.isinf(part[1]).all(), name
        assert np.array_equal(part[0], part[2]), name
        assert np.isfinite(part[0]).all(), name
    assert math.isinf(scores.worst().settling_s[1])


def test_trials_of_a_machine_do_not_depend_on_its_neighbours(benches):
    bench = benches[0]
    law = bench.scenario.law
    alone = [
        try_laws([law], make_machines([machine.member])).settling_s[0, 0]
        for machine in bench.machines
    ]
    assert try_laws([law], bench.machines).settling_s[0].tolist() == alone
