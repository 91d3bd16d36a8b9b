"""What everybody in the trade knows a PID does, seen in the closed loop.

Common practice, no source. Plants are invented; noise is off.
"""

import pytest
from bench_plant import (
    LOW_PA,
    SPAN_PA,
    SUPPLY_PA,
    board,
    chain_plant,
    direct_plant,
    law_settings,
    run_loop,
)

from host_sim.law.settings import Gains, Output
from host_sim.measure.effort import measure_output
from host_sim.measure.step_metrics import measure_step
from host_sim.plant.settings import Supply

STEP_S = 0.5
STEP_PA = LOW_PA + 0.5 * SPAN_PA


def step_of(plant, gains, *, seconds=6.0, **settings):
    """Run a step to 50 % and measure it."""
    law = law_settings(gains, **settings)
    run = run_loop(plant, board(law), [(0.0, 4.0), (STEP_S, 12.0)], seconds)
    metrics = measure_step(run.time_s, run.columns["load_pa"], LOW_PA, STEP_PA, STEP_S)
    return run, metrics


def chain_step(gains, **settings):
    """Step of the booster chain, whose pilot needs a lasting output."""
    settings = {"derivative_filter_s": 0.02, "tracking_s": 0.5, **settings}
    return step_of(chain_plant(), gains, output=Output(low=0.0), **settings)[1]


def test_p_alone_leaves_an_offset_that_falls_as_p_grows():
    offsets = [chain_step(Gains(kp)).steady_error_pa for kp in (1.0, 2.0, 4.0)]
    # The pilot's static gain is one, so theory says 1/(1 + kp) of the set point.
    expected = [0.5 * SPAN_PA / (1 + kp) for kp in (1.0, 2.0, 4.0)]
    assert offsets == pytest.approx(expected, rel=0.01)


def test_i_removes_the_offset_and_adds_overshoot():
    without, with_i = chain_step(Gains(2.0)), chain_step(Gains(2.0, 4.0))
    assert without.steady_error_pa > 0.1 * SPAN_PA
    assert abs(with_i.steady_error_pa) < 2e-4 * SPAN_PA
    assert with_i.overshoot_percent > without.overshoot_percent + 5.0


def test_d_lowers_overshoot_at_some_cost_in_time():
    without, with_d = chain_step(Gains(2.0, 4.0)), chain_step(Gains(2.0, 4.0, 0.3))
    assert with_d.overshoot_percent < 0.5 * without.overshoot_percent
    assert with_d.rise_time_s > without.rise_time_s


def test_deadband_stops_hunting_with_valve_hysteresis():
    # Friction of 0.3 x 0.5 bar is 2.5 % of span from edge to edge: a deadband of
    # 2 % to either side is wider, so the loop can rest inside.
    plant = chain_plant(full_opening_pa=0.5e5, hysteresis=0.3)
    tails = {}
    for deadband in (0.0, 0.02):
        run, _ = step_of(
            plant,
            Gains(1.0, 4.0),
            seconds=30.0,
            output=Output(low=0.0),
            tracking_s=0.5,
            deadband=deadband,
            deadband_hysteresis=deadband / 4,
        )
        tail = run.columns["output_percent"][run.time_s > 15.0] / 100
        tails[deadband] = measure_output(tail)
    assert tails[0.0].reversals >= 10
    assert tails[0.02].reversals == 0
    assert tails[0.02].travel_strokes == 0.0


def test_supply_compensation_keeps_the_response_time_when_supply_sags():
    def rise_s(supply_pa, strength):
        plant = direct_plant(supply=Supply(supply_pa))
        return step_of(plant, Gains(1.0), strength=strength)[1].rise_time_s

    rated = rise_s(SUPPLY_PA, 0.0)
    for sagged_pa in (0.8 * SUPPLY_PA, 0.7 * SUPPLY_PA):
        assert rise_s(sagged_pa, 0.0) > 1.2 * rated
        assert rise_s(sagged_pa, 1.0) == pytest.approx(rated, rel=0.01)


def test_anti_windup_shortens_the_return_from_saturation():
    gains = Gains(2.0, 4.0)
    times_s = (float("inf"), 2.0, 0.5, 0.1)
    overshoots = [chain_step(gains, tracking_s=t).overshoot_percent for t in times_s]
    assert overshoots == sorted(overshoots, reverse=True)
    assert overshoots[-1] < overshoots[0]
