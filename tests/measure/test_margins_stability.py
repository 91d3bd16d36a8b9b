"""The verdict "stable", quick judging, and the bounds that Ms sets.

1. Poles of the closed loop, from python-control's ``feedback`` on the sampled loop
   (``c2d`` with a zero-order hold, the law as a rational function of z), and from
   the matrix of `linear_loop`: the verdict from the frequency response must agree.
2. ``GM >= Ms/(Ms - 1)``, ``PM >= 2 asin(1/(2 Ms))``: REFERENCES.md, section 11; the
   bounds at Ms 2, 1.7 and 1.4 typed in as printed (those at 1.7 also second-hand).
"""

import math

import control
import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from linear_plants import INTEGRATOR, SECOND_ORDER, linear_plant, unit_law

from host_sim.law.settings import Gains
from host_sim.measure.frequency import loop_margins, open_loop
from host_sim.measure.linear_loop import linear_loop
from host_sim.measure.margins import measure_margins, ultimate_point
from host_sim.plant.settings import Channel

H = 0.1
PLANTS = {
    "two lags": SECOND_ORDER,
    "integrator": INTEGRATOR,
    "swinging": linear_plant([[0.0, 1.0], [-4.0, -0.8]], [0.0, 4.0], [1.0, 0.0]),
}
EDGE = 3e-3
"""Distance of a pole from the unit circle within which either verdict will do."""

few = settings(max_examples=settings.default.max_examples // 2)


def powers(low, high):
    return st.floats(low, high).map(lambda exponent: 2.0**exponent)


# About half of these loops are stable; nearly all of the mild ones.
gains = st.builds(Gains, powers(-4, 3), powers(-4, 2), st.floats(0.0, 0.2))
mild = st.builds(Gains, powers(-4, -1), powers(-4, -2), st.floats(0.0, 0.05))


@few
@given(
    st.sampled_from(sorted(PLANTS)),
    gains,
    st.floats(0.0, 0.35),
    st.integers(0, 2),
    st.floats(0.0, 0.3),
)
def test_verdict_is_that_of_the_poles(name, gain, delay_s, late, filter_s):
    channel = Channel(0.0, 1.0, bits=None, delay_s=delay_s)
    law = unit_law(gain, H, derivative_filter_s=filter_s)
    radius = linear_loop(PLANTS[name], channel, law, late).radius
    assume(abs(radius - 1.0) > EDGE)
    opened = open_loop(PLANTS[name], channel, law, late)
    assert opened.margins(law).stable is (radius < 1.0)
    assert opened.judge(law)[0] is (radius < 1.0)


@few
@given(gains, st.integers(0, 3))
def test_verdict_is_that_of_python_control(gain, late):
    law = unit_law(gain, H, derivative_filter_s=0.05)
    plant = control.c2d(control.tf([15.0], [1.0, 6.0, 5.0]), H, "zoh")
    integral = control.tf([gain.ki_per_s * H], [1.0, -1.0], H)
    derivative = control.tf([gain.kd_s, -gain.kd_s], [0.05 + H, -0.05], H)
    delay = control.tf([1.0], [1.0] + [0.0] * late, H)
    closed = control.feedback((gain.kp + integral + derivative) * plant * delay, 1)
    radius = float(np.abs(closed.poles()).max())
    assume(abs(radius - 1.0) > EDGE)
    channel = Channel(0.0, 1.0, bits=None)
    assert loop_margins(SECOND_ORDER, channel, law, late).stable is (radius < 1.0)
    assert linear_loop(SECOND_ORDER, channel, law, late).radius == pytest.approx(
        radius, rel=1e-6
    )


def test_verdict_knows_a_loop_that_only_a_middle_range_of_gain_keeps_stable():
    # k (s + 1)^2 / s^3: stable for k > 1/2 (Routh); the gain margin is below 1.
    def loop(gain):
        return lambda w: gain * (1.0 + 1j * w) ** 2 / (1j * w) ** 3

    stable = measure_margins(loop(2.0), 1e-3, 1e5)
    assert stable.stable
    assert stable.gain_margin == pytest.approx(0.25)
    assert not measure_margins(loop(0.4), 1e-3, 1e5).stable


@few
@given(st.sampled_from(sorted(PLANTS)), mild, st.floats(0.0, 0.35))
def test_quick_judging_finds_the_peaks_within_1_percent(name, gain, delay_s):
    law = unit_law(gain, H, derivative_filter_s=0.03)
    opened = open_loop(PLANTS[name], Channel(0.0, 1.0, bits=None, delay_s=delay_s), law)
    measured = opened.margins(law)
    assume(measured.ms < 10.0)
    _, ms, mt = opened.judge(law)
    assert ms == pytest.approx(measured.ms, rel=0.01)
    assert mt == pytest.approx(measured.mt, rel=0.01)


@pytest.mark.parametrize(
    ("ms", "gain_bound", "phase_bound"),
    [(2.0, 2.0, 28.955), (1.7, 2.4286, 34.209), (1.4, 3.5, 41.850)],
)
def test_bounds_of_ms_match_the_table(ms, gain_bound, phase_bound):
    assert ms / (ms - 1.0) == pytest.approx(gain_bound, abs=6e-5)
    bound = math.degrees(2.0 * math.asin(0.5 / ms))
    assert bound == pytest.approx(phase_bound, abs=6e-4)


@few
@given(st.sampled_from(sorted(PLANTS)), mild, st.floats(0.0, 0.35), st.integers(0, 2))
def test_margins_of_a_stable_loop_keep_the_bounds_of_its_ms(name, gain, delay_s, late):
    channel = Channel(0.0, 1.0, bits=None, delay_s=delay_s)
    law = unit_law(gain, H, derivative_filter_s=0.03)
    found = loop_margins(PLANTS[name], channel, law, late)
    assume(found.stable)
    rounding = 1.0 - 1e-6
    if found.gain_margin > 1.0:
        assert found.gain_margin >= rounding * found.ms / (found.ms - 1.0)
    phase_bound = math.degrees(2.0 * math.asin(0.5 / found.ms))
    assert abs(found.phase_margin_deg) >= rounding * phase_bound
    assert found.mt <= found.ms + 1.0
    assert found.mt >= found.ms - 1.0


def test_place_of_ms_is_where_the_sensitivity_peaks():
    # 4/(s+1)^3: Ms 3 exactly at sqrt 2; 2/(s+1)^3: 5/3 at sqrt 1.5 (section 11).
    for gain, ms, at in ((4.0, 3.0, 2.0**0.5), (2.0, 5.0 / 3.0, 1.5**0.5)):
        found = measure_margins(
            lambda w, gain=gain: gain / (1j * w + 1.0) ** 3, 1e-3, 1e3
        )
        assert found.ms == pytest.approx(ms, rel=1e-9)
        assert found.ms_rad_s == pytest.approx(at, rel=1e-4)


def test_ultimate_point_takes_the_first_crossing_not_the_one_nearest_to_1():
    # Large gain: the first crossing asks for 0.01, later ones for nearly 1.
    def response(frequency_rad_s):
        s = 1j * frequency_rad_s
        return 226.1826 * np.exp(-s) / (1.0 + s)

    gain, frequency = ultimate_point(response, 1e-3, 1e3)
    assert gain == pytest.approx(0.01, rel=1e-6)
    assert frequency == pytest.approx(2.028758, abs=1e-6)


def test_ultimate_point_of_two_lags_is_at_infinity():
    assert ultimate_point(lambda w: 1.0 / (1j * w + 1.0) ** 2, 1e-3, 1e3) == (
        math.inf,
        math.inf,
    )
