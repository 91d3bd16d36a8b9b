"""What tuning chooses: law and choice, point and choice, there and back."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tuning_bag import bag, press
from tuning_checks import check_round_trip

from host_sim.law.block import FULL
from host_sim.law.quantise import quantise
from host_sim.law.settings import Gains
from host_sim.tune.box import WIDER, box_around
from host_sim.tune.choice import Choice, rounded, units
from host_sim.tune.rest import smallest_seen


@pytest.fixture(scope="module")
def scenarios(tmp_path_factory):
    folder = tmp_path_factory.mktemp("choice")
    return press(folder), bag(folder)


def few_digits(low, high):
    return st.floats(low, high).map(rounded)


CHOICES = st.builds(
    Choice,
    kc=few_digits(0.05, 50.0),
    ti_s=few_digits(0.02, 100.0),
    td_s=few_digits(0.001, 2.0),
    filter_s=few_digits(1e-4, 1.0),
    tracking_s=few_digits(0.02, 10.0),
    weight=few_digits(0.0, 1.0),
    deadband=st.integers(0, 500).map(lambda count: count / FULL),
    strength=few_digits(0.0, 1.0),
)
GAINS = [Gains.from_ideal(1.0, 0.5, 0.05), Gains.from_ideal(3.0, 0.2, 0.02)]


@given(choice=CHOICES, which=st.integers(0, 1))
def test_choice_goes_into_a_law_and_comes_back(choice, which, scenarios):
    base = scenarios[which].law
    check_round_trip(choice, base)
    law = choice.law(base)
    assert law.pid.deadband_hysteresis == pytest.approx(choice.deadband / 2, abs=3e-5)
    # Nothing else moves.
    for name in ("command", "measurement", "output", "drive", "tick_s"):
        assert getattr(law, name) == getattr(base, name)


@given(share=st.lists(st.floats(0.0, 1.0), min_size=8, max_size=8))
def test_choice_of_a_point_lies_at_that_point(share, scenarios):
    box = box_around(GAINS, scenarios[1])
    point = box.low + np.array(share) * (box.high - box.low)
    choice = box.choice(point)
    # Four digits of each number; the filter's logarithm has those of two.
    assert box.point(choice) == pytest.approx(point, abs=2e-3)


@given(choice=CHOICES)
def test_choice_anywhere_becomes_a_point_inside_the_box(choice, scenarios):
    box = box_around(GAINS, scenarios[1])
    point = box.point(choice)
    assert (point >= box.low).all()
    assert (point <= box.high).all()


def test_choice_of_a_law_without_integral_becomes_a_point(scenarios):
    none = Choice(1.0, math.inf, 0.0, 0.0, math.inf, 1.0, 0.0, 0.0)
    point = box_around(GAINS, scenarios[1]).point(none)
    assert np.isfinite(point).all()
    assert math.exp(point[1]) == pytest.approx(0.5 * WIDER)


def test_box_reaches_beyond_the_gains_it_is_built_around(scenarios):
    for scenario in scenarios:
        box = box_around(GAINS, scenario)
        assert np.exp(box.low[:2]) == pytest.approx([1.0 / WIDER, 0.2 / WIDER])
        assert np.exp(box.high[:2]) == pytest.approx([3.0 * WIDER, 0.5 * WIDER])
        assert box.low[6] >= smallest_seen(scenario)
        assert box.low[6] <= smallest_seen(scenario) + 1.0 / FULL
        assert box.high[6] <= max(0.5 * scenario.settle_band, box.low[6])


def test_box_leaves_the_compensation_alone_behind_a_pressure_demand(scenarios):
    behind_pilot, behind_valve = (box_around(GAINS, each) for each in scenarios)
    assert behind_pilot.low[7] == behind_pilot.high[7] == 0.0
    assert (behind_valve.low[7], behind_valve.high[7]) == (0.0, 1.0)


@given(choice=CHOICES)
def test_choice_is_kept_by_the_board_within_its_lattice(choice, scenarios):
    kept = quantise(choice.law(scenarios[1].law))
    assert kept["DEADBAND"] == round(choice.deadband * FULL)
    assert units(choice.deadband) == choice.deadband
