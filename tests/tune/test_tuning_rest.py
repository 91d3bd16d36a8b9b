"""The loop at rest: reversals counted exactly, and a loop that hunts seen to hunt."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tuning_bag import bag
from tuning_checks import check_at_rest

from host_sim.law.settings import Gains
from host_sim.loop.watch import MARKS, REVERSALS, watch_output
from host_sim.measure.effort import measure_output
from host_sim.scenario.load import load_scenario, shipped_scenario_path
from host_sim.tune.family import make_corners
from host_sim.tune.rest import (
    MOST_REVERSALS,
    count_reversals,
    make_resting,
    smallest_seen,
)

STATE = [0.0] * 64


def counted(outputs):
    """Reversals as a resting loop's kernel counts them."""
    marks = [0.0] * len(MARKS)
    for n, output in enumerate(outputs):
        watch_output(n, output, STATE, marks)
    return marks[REVERSALS]


BY_HAND = {
    "still": ([0.4] * 20, 0),
    "up and away": ([0.0, 0.1, 0.2, 0.3], 0),
    "one turn": ([0.0, 0.1, 0.0], 1),
    "there and back again": ([0.0, 0.1, 0.0, 0.1, 0.0], 3),
    "a turn below half a percent": ([0.0, 0.1, 0.096, 0.1, 0.2], 0),
    "a turn of just over half a percent": ([0.0, 0.1, 0.0949, 0.1001], 2),
    "down first": ([0.5, 0.4, 0.5, 0.4], 2),
    "slow steps add up": ([0.0, *[0.1 - 0.002 * k for k in range(4)], 0.2], 2),
}


@pytest.mark.parametrize("name", BY_HAND)
def test_rest_counts_reversals_made_by_hand(name):
    outputs, turns = BY_HAND[name]
    assert counted(outputs) == turns
    assert measure_output(np.array(outputs)).reversals == turns


@given(outputs=st.lists(st.floats(-1.0, 1.0), min_size=1, max_size=60))
def test_rest_counts_reversals_as_a_whole_record_does(outputs):
    assert counted(outputs) == measure_output(np.array(outputs)).reversals


@pytest.fixture(scope="module")
def calm(tmp_path_factory):
    """A bag behind a valve with play, watched at rest."""
    scenario = bag(
        tmp_path_factory.mktemp("bag"),
        (
            'lag = "20 ms"\n\n[valve.fill]',
            'lag = "20 ms"\nhysteresis = "4 %"\n\n[valve.fill]',
        ),
    )
    return scenario, make_resting(scenario)


def with_gains(scenario, *gains, **pid):
    pid = replace(scenario.law.pid, gains=Gains(*gains), **pid)
    return replace(scenario.law, pid=pid)


def test_rest_has_every_corner_at_every_level(calm):
    scenario, resting = calm
    assert len(resting) == 3 * len(make_corners(scenario))
    assert len({each.name for each in resting}) == len(resting)
    for each in resting:
        # The longest step is 4 s: one such time to settle in, two to be watched.
        assert (each.window.first, each.window.ticks) == (200, 400)


def test_rest_loop_that_hunts_is_seen_to_hunt(calm):
    """Much integral action behind play, without a deadband, never comes to rest."""
    scenario, resting = calm
    hunting = with_gains(scenario, 6.0, 12.0, deadband=0.0, deadband_hysteresis=0.0)
    patient = with_gains(scenario, 3.0, 6.0, deadband=0.02, deadband_hysteresis=0.01)
    alone = with_gains(scenario, 2.0)
    turns = count_reversals([hunting, patient, alone], resting)
    assert turns.shape == (3, len(resting))
    assert turns[0].max() > MOST_REVERSALS
    assert turns[1].max() <= MOST_REVERSALS
    assert turns[2].max() == 0.0
    check_at_rest(scenario, hunting, resting)
    check_at_rest(scenario, patient, resting)


def test_rest_of_a_law_that_the_board_cannot_keep_is_infinite(calm):
    scenario, resting = calm
    kept, lost = with_gains(scenario, 2.0), with_gains(scenario, 1e5)
    turns = count_reversals([lost, kept, lost], resting[:2])
    assert np.isinf(turns[[0, 2]]).all()
    assert np.isfinite(turns[1]).all()


def test_rest_smallest_change_seen_is_one_step_where_nothing_is_noisy(calm):
    scenario, _ = calm

    def seen(**channel):
        pressure = replace(scenario.plant.sensing.pressure, noise=0.0, **channel)
        sensing = replace(scenario.plant.sensing, pressure=pressure)
        return smallest_seen(
            replace(scenario, plant=replace(scenario.plant, sensing=sensing))
        )

    # 7.5 bar of sensor over 6 bar of range.
    assert seen(bits=10) == pytest.approx(1.25 / 1023)
    assert seen(bits=None) == pytest.approx(1.25 / 32767)


@pytest.mark.parametrize("filter_s", [0.0, 0.01, 0.05])
def test_rest_smallest_change_seen_is_three_sigma_of_the_filtered_noise(filter_s):
    scenario = load_scenario(shipped_scenario_path())
    noise_pa, tick_s = 500.0, scenario.law.tick_s
    pressure = replace(scenario.plant.sensing.pressure, noise=noise_pa, bits=None)
    sensing = replace(scenario.plant.sensing, pressure=pressure)
    measurement = replace(scenario.law.measurement, filter_s=filter_s)
    noisy = replace(
        scenario,
        plant=replace(scenario.plant, sensing=sensing),
        law=replace(scenario.law, measurement=measurement),
    )
    random, level, levels = np.random.default_rng(1), 0.0, []
    for sample in noise_pa * random.standard_normal(20_000):
        level += tick_s / (filter_s + tick_s) * (sample - level)
        levels.append(level)
    assert smallest_seen(noisy) == pytest.approx(3.0 * np.std(levels) / 6e5, rel=0.03)
    assert math.isfinite(smallest_seen(noisy))
