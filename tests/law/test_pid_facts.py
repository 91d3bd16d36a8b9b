"""What a PID must do, as properties of the integer law.

Sources of the facts: Astrom & Wittenmark, Computer-Controlled Systems (3rd ed.
1997, ch. 8) and Astrom & Hagglund, PID Controllers (1995) section 3.5, both from
memory; Peng, Vrancic & Hanus, IEEE Control Systems 16(4) 1996 48-57,
second-hand. No bound is wider than the rounding named beside it.
"""

from random import Random

import pytest
from bench_law import TICK_S, exact_pilot, exact_settings, tick
from hypothesis import given
from hypothesis import strategies as st

from host_sim.law.block import FULL
from host_sim.law.controller import Controller
from host_sim.law.quantise import quantise
from host_sim.law.settings import Gains, Output

signals = st.integers(1, 24_000)
gain_sets = st.builds(
    Gains, st.floats(0.1, 10), st.floats(0.05, 20), st.floats(0.01, 0.5)
)


@given(error=st.integers(1, 3), ki=st.floats(1e-5, 0.5))
def test_smallest_error_integrates_at_its_exact_rate(error, ki):
    pilot = exact_pilot(Gains(0.0, ki))
    exact = pilot.block.ratio("I") * error
    tick(pilot, 5_000 + error, 5_000)
    for k in range(1, 400):
        tick(pilot, 5_000 + error, 5_000)
        assert abs(pilot.word("INTEGRAL") - exact * k) <= 0.5


@given(gains=gain_sets, before=signals, after=signals)
def test_setpoint_step_gives_no_derivative_kick(gains, before, after):
    pilot = exact_pilot(gains, derivative_filter_s=0.02)
    for _ in range(5):
        tick(pilot, before, 9_000)
    tick(pilot, after, 9_000)
    assert pilot.word("DERIVATIVE") == 0


@given(pressure=signals, gains=gain_sets)
def test_reset_gives_no_derivative_spike_and_no_jump(pressure, gains):
    pilot = exact_pilot(gains, derivative_filter_s=0.02)
    for _ in range(20):
        tick(pilot, 12_000, 3_000)
    output = pilot.word("OUTPUT")
    pilot.reset()
    tick(pilot, 12_000, pressure)
    assert pilot.word("DERIVATIVE") == 0
    assert pilot.word("OUTPUT") == output


@given(seed=st.integers(0, 2**32), gains=gain_sets)
def test_mirrored_loop_is_mirrored_to_the_bit(seed, gains):
    random = Random(seed)
    rates = Output(low=-0.8, high=0.6, rise_per_s=5.0, fall_per_s=3.0)
    mirrored = Output(low=-0.6, high=0.8, rise_per_s=3.0, fall_per_s=5.0)
    options = {"tracking_s": 0.2, "derivative_filter_s": 0.05, "deadband": 0.003}
    plain = exact_pilot(gains, output=rates, **options)
    mirror = exact_pilot(gains, output=mirrored, **options)
    pressure, setpoint = 12_000, 12_000
    for _ in range(200):
        if random.random() < 0.05:
            setpoint = random.randint(1_000, 24_000)
        pressure = max(0, min(25_000, pressure + random.randint(-300, 300)))
        one = tick(plain, setpoint, pressure)
        other = tick(mirror, 25_000 - setpoint, 25_000 - pressure)
        assert one == -other


@given(seed=st.integers(0, 2**32), gains=gain_sets)
def test_inside_deadband_nothing_moves(seed, gains):
    random = Random(seed)
    pilot = exact_pilot(gains, deadband=0.01, derivative_filter_s=0.02)
    tick(pilot, 12_000, 11_000)
    tick(pilot, 12_000, 12_000)
    integral, outputs = pilot.word("INTEGRAL"), set()
    for k in range(400):
        tick(pilot, 12_000, 12_000 + random.randint(-250, 250))
        assert pilot.inside
        assert pilot.word("INTEGRAL") == integral
        if k > 100:
            outputs.add(pilot.word("DRIVE"))
    assert len(outputs) == 1


@given(gains=gain_sets, side=st.sampled_from((-1, 1)))
def test_leaving_the_deadband_jumps_no_more_than_its_hysteresis(gains, side):
    pilot = exact_pilot(
        Gains(gains.kp, gains.ki_per_s), deadband=0.01, deadband_hysteresis=0.004
    )
    for _ in range(3):
        tick(pilot, 12_000, 12_000)
    output = pilot.word("OUTPUT")
    tick(pilot, 12_000, 12_000 + side * 350)
    assert pilot.inside
    tick(pilot, 12_000, 12_000 + side * 351)
    assert not pilot.inside
    assert abs(pilot.word("OUTPUT") - output) <= gains.kp * 101 + 1


def saturated(ticks, **options):
    """Hold a law in saturation with an error of 10 % outward."""
    pilot = exact_pilot(Gains.from_ideal(2.0, ti_s=4.0), **options)
    for _ in range(ticks):
        tick(pilot, 12_500, 10_000)
    return pilot


def test_back_calculation_settles_at_the_textbook_excess():
    # Excess K (Tt/Ti) e = 2 (1/4) 10 % = 5 %: Astrom & Wittenmark, from memory.
    pilot = saturated(6_000, tracking_s=1.0, output=Output(low=0.0, high=0.1))
    excess = pilot.word("REQUEST") - pilot.word("OUTPUT")
    assert excess == pytest.approx(0.05 * FULL, abs=2)


def test_back_calculation_approaches_with_its_tracking_time():
    output = Output(low=0.0, high=0.0)
    start, final = 0.2, 0.05
    pilot = saturated(2 + 100, tracking_s=1.0, output=output)
    after_one_tracking_time = final + (start - final) * (1.0 - TICK_S) ** 100
    assert pilot.request == pytest.approx(after_one_tracking_time, abs=3e-4)


def test_without_anti_windup_the_integral_winds_up():
    wound = saturated(2_000, output=Output(low=0.0, high=0.1)).integral
    assert wound == pytest.approx(2.0 / 4.0 * 0.1 * 20.0, rel=0.01)


def test_conditional_integration_never_grows_while_pushing_outward():
    pilot = exact_pilot(
        Gains(2.0, 0.5), conditional=True, output=Output(low=-1.0, high=0.1)
    )
    tick(pilot, 12_500, 10_000)
    integrals = set()
    for _ in range(500):
        tick(pilot, 12_500, 10_000)
        integrals.add(pilot.word("INTEGRAL"))
    assert len(integrals) == 1
    tick(pilot, 12_500, 15_000)
    assert pilot.word("INTEGRAL") < integrals.pop()


def test_integral_recovers_on_the_first_inward_sample():
    pilot = saturated(3_000, tracking_s=0.05, output=Output(low=0.0, high=0.1))
    assert pilot.output == pytest.approx(0.1)
    tick(pilot, 12_500, 13_500)
    assert pilot.output < 0.1


@given(seed=st.integers(0, 2**32), gains=gain_sets)
def test_integral_is_bounded_for_every_input(seed, gains):
    random = Random(seed)
    tracking_s = 0.5
    output = Output(low=-0.3, high=0.7, rise_per_s=4.0, fall_per_s=4.0)
    settings = exact_settings(gains, tracking_s=tracking_s, output=output)
    pilot = Controller(quantise(settings))
    largest = 1.15
    # |I| <= |u| + K(|r| + |y|) + |D| + K (Tt/Ti) max|e|, and the request's own
    # limit of 200 %, which hides excess beyond it from the correction.
    bound = 2.0 + gains.kp * 2 * largest + gains.kd_s / TICK_S * largest
    bound += gains.ki_per_s * tracking_s * largest
    for _ in range(300):
        tick(pilot, random.randint(1, 24_999), random.randint(-1_250, 27_500))
        assert abs(pilot.integral) <= min(bound, 12.0) + 1 / FULL


@given(gains=gain_sets, setpoint=signals, pressure=signals, demand=st.floats(-1, 1))
def test_manual_takes_over_without_a_bump(gains, setpoint, pressure, demand):
    pilot = exact_pilot(gains, tracking_s=0.5)
    for k in range(20):
        tick(pilot, setpoint, pressure + 7 * k)
    output = pilot.word("OUTPUT")
    pilot.mode = "manual"
    tick(pilot, setpoint, pressure)
    assert pilot.word("OUTPUT") == output
    pilot.demand = demand
    tick(pilot, setpoint, pressure)
    assert pilot.output == pytest.approx(demand, abs=0.5 / FULL)


@given(gains=gain_sets, setpoint=signals, demand=st.floats(-0.9, 0.9))
def test_automatic_takes_over_without_a_bump(gains, setpoint, demand):
    pilot = exact_pilot(gains)
    pilot.mode = "manual"
    for k in range(60):
        tick(pilot, setpoint, 8_000 + 5 * k)
        pilot.demand = demand
    manual = pilot.word("OUTPUT")
    pilot.mode = "automatic"
    terms = pilot.word("PROPORTIONAL") + pilot.word("DERIVATIVE")
    tick(pilot, setpoint, 8_000 + 5 * 59)
    moved = pilot.word("PROPORTIONAL") + pilot.word("DERIVATIVE") - terms
    limited = abs(manual + moved) > FULL
    assert limited or pilot.word("OUTPUT") - manual == moved


@given(gains=gain_sets, setpoint=signals)
def test_hold_keeps_the_output_and_releases_without_a_bump(gains, setpoint):
    pilot = exact_pilot(Gains(gains.kp, gains.ki_per_s), tracking_s=0.5)
    for _ in range(30):
        tick(pilot, setpoint, setpoint - 40)
    output = pilot.word("OUTPUT")
    pilot.mode = "hold"
    for k in range(30):
        tick(pilot, setpoint, setpoint - 40 + k)
        assert pilot.word("OUTPUT") == output
    for _ in range(2):
        tick(pilot, setpoint, setpoint)
    pilot.mode = "automatic"
    tick(pilot, setpoint, setpoint)
    assert pilot.word("OUTPUT") == output


@given(first=gain_sets, second=gain_sets, setpoint=signals)
def test_gain_change_at_rest_makes_no_bump(first, second, setpoint):
    pilot = exact_pilot(first, tracking_s=0.5)
    for k in range(40):
        tick(pilot, setpoint, min(setpoint, setpoint - 400 + 20 * k))
    for _ in range(200):
        tick(pilot, setpoint, setpoint)
    output = pilot.word("OUTPUT")
    settled = pilot.word("WASHOUT") == 0
    other = quantise(exact_settings(second, tracking_s=0.5))
    pilot.block.words[:] = other.words
    tick(pilot, setpoint, setpoint)
    assert settled
    assert abs(pilot.word("OUTPUT") - output) <= 1


def test_setpoint_weight_scales_the_proportional_kick():
    kicks = []
    for weight in (0.0, 0.5, 1.0):
        pilot = exact_pilot(Gains(2.0), weight=weight)
        for _ in range(3):
            tick(pilot, 10_000, 10_000)
        before = pilot.word("OUTPUT")
        tick(pilot, 12_000, 10_000)
        kicks.append(pilot.word("OUTPUT") - before)
    assert kicks == [0, 2_000, 4_000]


def test_calibrations_of_these_tests_lose_nothing():
    block = quantise(exact_settings())
    assert (block.ratio("RANGE"), block.ratio("PRESSURE")) == (1.0, 1.0)
    assert block.ratio("CURRENT") == 1.0
