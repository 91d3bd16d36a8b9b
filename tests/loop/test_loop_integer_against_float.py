"""Closed loops on the integer law and on the float reference, same plant.

Bound: 0.1 % of span between the integer law and the reference on the block's own
settings; what quantising the gains does is measured apart, by a second reference
run on the settings as they were wanted. Converters are ideal, so the only
rounding is the board's own.
"""

import numpy as np
import pytest
from bench_plant import (
    LOW_PA,
    SPAN_PA,
    board,
    chain_plant,
    direct_plant,
    law_settings,
    run_loop,
)
from hypothesis import given, settings
from hypothesis import strategies as st

from host_sim.law.quantise import quantise
from host_sim.law.read_back import read_back
from host_sim.law.reference import FloatController
from host_sim.law.settings import Gains, Output
from host_sim.measure.agreement import compare_runs

TICK_S = 0.01
SECONDS = 3.0
CLOSED_LOOPS = 15


def off_or_up_to(high):
    """Draw zero, or a number large enough to be kept as a gain."""
    return st.just(0.0) | st.floats(1e-3 * high, high)


@st.composite
def loops(draw):
    """Draw a plant, settings that suit it, and a command of three steps."""
    if draw(st.booleans()):
        plant = direct_plant(load_l=draw(st.floats(1.0, 6.0)))
        gains = Gains(draw(st.floats(0.3, 3.0)), draw(off_or_up_to(0.5)))
        output = Output()
    else:
        plant = chain_plant(
            load_l=draw(st.floats(2.0, 8.0)), pilot_lag_s=draw(st.floats(0.05, 0.3))
        )
        kp, ki = draw(st.floats(0.2, 1.0)), draw(st.floats(0.2, 2.0))
        gains = Gains(kp, ki, draw(off_or_up_to(0.1)))
        output = Output(low=0.0, rise_per_s=draw(st.floats(1.0, 20.0)))
    law = law_settings(
        gains,
        tick_s=TICK_S,
        output=output,
        tracking_s=draw(st.floats(0.1, 1.0)),
        derivative_filter_s=0.03,
        weight=draw(st.floats(0.5, 1.0)),
        strength=draw(off_or_up_to(1.0)),
    )
    currents = draw(st.lists(st.floats(4.0, 18.0), min_size=3, max_size=3))
    steps = [(SECONDS * k / 3, current) for k, current in enumerate(currents)]
    return plant, law, steps


def largest_pa(run, other):
    """Largest distance of two runs' load pressures [Pa]."""
    return abs(run.columns["load_pa"] - other.columns["load_pa"]).max()


@settings(max_examples=CLOSED_LOOPS)
@given(loop=loops())
def test_loop_integer_stays_with_the_reference(loop):
    plant, law, steps = loop
    integer = run_loop(plant, board(law), steps, SECONDS)
    kept = FloatController(read_back(quantise(law)))
    reference = run_loop(plant, kept, steps, SECONDS)
    wanted = run_loop(plant, FloatController(law), steps, SECONDS)
    agreement = compare_runs(integer, reference, SPAN_PA)
    assert agreement.largest_pressure_percent <= 0.1
    if np.ptp(reference.columns["load_pa"]) > 0.05 * SPAN_PA:
        assert agreement.signal_to_noise_db >= 60.0
    explained_pa = largest_pa(reference, wanted)
    assert largest_pa(integer, wanted) <= 1e-3 * SPAN_PA + explained_pa


def test_loop_same_law_is_the_same_run():
    law = law_settings(Gains(1.0, 0.5))
    steps = [(0.0, 4.0), (0.3, 12.0)]
    first, second = (run_loop(direct_plant(), board(law), steps, 1.0) for _ in range(2))
    agreement = compare_runs(first, second, SPAN_PA)
    assert agreement.largest_pressure_percent == agreement.largest_output_lsb == 0.0
    assert agreement.signal_to_noise_db == float("inf")
    assert first.columns["load_pa"][0] == pytest.approx(LOW_PA, rel=1e-12)
