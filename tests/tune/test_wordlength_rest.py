"""Loops left alone: how a cycle is told, and what the remainders are for."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from lone_bag import lone_bag

from host_sim.loop.record import Run
from host_sim.measure.agreement import LSB_PERCENT
from host_sim.scenario.load import load_scenario
from host_sim.tune import wordlength_rest
from host_sim.tune.wordlength_integral import study_integral
from host_sim.tune.wordlength_rest import (
    SHARES,
    make_rest,
    measure_swing,
    run_ideal,
    run_whole,
    run_without_remainders,
    swings,
)
from host_sim.tune.wordlength_variants import finest, with_pressure_bits

TICK_S = 0.01
TIME_S = np.arange(2_000) * TICK_S


@pytest.fixture(scope="module")
def bag(tmp_path_factory):
    """A bag under a slow integral, without deadband and compensation."""
    path = tmp_path_factory.mktemp("bag") / "bag.toml"
    changes = (
        ('deadband = "10 mbar"\n', ""),
        ("kp = 8", "kp = 6"),
        ('ki = "8 1/s"', 'ki = "1.5 1/s"'),
        ('strength = "100 %"\n', ""),
    )
    return load_scenario(lone_bag(path, *changes))


@given(
    period_s=st.floats(0.1, 4.0),
    swing=st.floats(0.01, 10.0),
    phase=st.floats(0.0, 6.28),
    offset=st.floats(-5.0, 5.0),
)
def test_cycle_is_measured_as_it_is(period_s, swing, phase, offset):
    wave = np.sin(2.0 * np.pi * TIME_S / period_s + phase)
    found = measure_swing(0.5, offset + 0.5 * swing * wave, 3.0 * wave, TICK_S)
    assert found.state == "cycle"
    # Crossings are found to a tick; each end may be one off.
    turns = int(20.0 / period_s) - 1
    assert found.period_s == pytest.approx(period_s, abs=2.0 * TICK_S / turns)
    # Ten ticks or more a period: the crest is missed by 1 - cos(pi / 10) at most.
    assert swing * np.cos(np.pi / 10) <= found.pressure_swing_percent
    assert found.pressure_swing_percent <= swing * (1 + 1e-9)
    mean_error = swing * period_s / 20.0
    assert found.error_percent == pytest.approx(offset, abs=mean_error + 1e-9)


@pytest.mark.parametrize(
    ("pressure", "output", "state"),
    [
        (0.1 * TIME_S, np.full(2_000, 44.0), "still"),
        (np.sin(TIME_S), np.full(2_000, 44.0), "still"),
        (0.1 * TIME_S, 44.0 + TIME_S, "restless"),
        (np.sin(np.maximum(TIME_S - 10.0, 0.0) ** 2), np.sin(TIME_S), "restless"),
        (np.where(TIME_S < 10.0, np.sin(5.0 * TIME_S), 0.0), TIME_S, "restless"),
        (np.sin(TIME_S), np.sin(TIME_S), "restless"),
    ],
    ids=["creeps", "pulses", "drifts", "hastens", "stops", "too few turns"],
)
def test_what_is_no_cycle_is_not_called_one(pressure, output, state):
    found = measure_swing(0.5, pressure, output, TICK_S)
    assert found.state == state
    assert found.period_s is None


def test_output_that_toggles_by_one_unit_is_not_still():
    toggling = 44.0 + 0.004 * (np.arange(2_000) // 50 % 2)
    found = measure_swing(0.5, np.sin(2.0 * np.pi * TIME_S), toggling, TICK_S)
    assert (found.state, found.period_s) == ("cycle", pytest.approx(1.0, abs=0.002))


def test_rest_holds_levels_between_the_scenarios_own(bag):
    rest = make_rest(bag)
    assert rest.levels == pytest.approx([0.25 + share * 0.375 for share in SHARES])
    found = swings(rest, run_whole(rest.scenario))
    assert [swing.level_percent for swing in found] == pytest.approx(
        [100.0 * level for level in rest.levels]
    )
    # The mean is where it was sent, within two steps of the 12-bit converter.
    step_percent = 100.0 * 7.5 / 6.0 / 4_095
    assert max(abs(swing.error_percent) for swing in found) < 2.0 * step_percent


def test_rest_of_a_reverse_command_holds_its_set_points(bag):
    command = replace(bag.law.command, reverse=True)
    rest = make_rest(replace(bag, law=replace(bag.law, command=command)))
    held = [
        rest.scenario.law.command.setpoint(current_ma)
        for current_ma in rest.scenario.profile.currents_ma
    ]
    assert held == pytest.approx(rest.levels)


def test_run_that_keeps_its_remainders_is_the_compiled_run(bag, monkeypatch):
    monkeypatch.setattr(wordlength_rest, "REMAINDERS", ())
    short = replace(bag, ticks=150)
    whole, kept = run_whole(short), run_without_remainders(short)
    np.testing.assert_array_equal(kept.columns["load_pa"], whole.columns["load_pa"])
    np.testing.assert_allclose(
        kept.columns["output_percent"], whole.columns["output_percent"], atol=1e-9
    )


def test_dropped_remainders_leave_an_error_that_carried_ones_do_not(bag):
    rest = make_rest(finest(bag))
    zone = next(
        zone
        for zone in study_integral(bag.law, bag.settle_band).zones
        if zone.arithmetic == "rounding"
    )
    assert zone.above_counts == 17
    errors = [
        np.array([swing.error_percent for swing in swings(rest, runner(rest.scenario))])
        for runner in (run_ideal, run_whole, run_without_remainders)
    ]
    carried = np.abs(errors[1] - errors[0])
    dropped = np.abs(errors[2] - errors[0])
    # The converter's step of 0.95 counts and the unit of the output are left over.
    assert carried.max() < 3 * LSB_PERCENT
    assert np.sort(dropped)[1] > 5 * LSB_PERCENT
    assert dropped.max() < zone.above_percent + LSB_PERCENT


def test_ideal_law_does_not_see_the_converters_of_the_scenario(bag):
    short = replace(bag, ticks=60)
    fine, coarse = (run_ideal(s) for s in (short, with_pressure_bits(short, 5)))
    np.testing.assert_array_equal(coarse.columns["load_pa"], fine.columns["load_pa"])


@pytest.mark.parametrize(
    ("runner", "name"), [(run_whole, "run_compiled"), (run_ideal, "run_scenario")]
)
def test_run_cut_short_is_an_interrupt(bag, monkeypatch, runner, name):
    cut = Run(0.02, {"load_pa": np.zeros(3)})
    monkeypatch.setattr(wordlength_rest, name, lambda *_: cut)
    with pytest.raises(KeyboardInterrupt):
        runner(bag)
