"""What the peak of the sensitivity promises of the margins.

``GM >= Ms/(Ms - 1)`` and ``PM >= 2 asin(1/(2 Ms))``: closed forms; the pairs for
Ms = 2, 1.7 and 1.4 typed in as printed, of which 2.43 and 34.2 deg were also seen
second-hand. They hold for every loop, so any counts.
"""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from host_sim.measure.margins import measure_margins

ROUNDING = 1e-6


def bounds(ms):
    return ms / (ms - 1.0), math.degrees(2.0 * math.asin(0.5 / ms))


@pytest.mark.parametrize(
    ("ms", "gain_margin", "phase_margin_deg"),
    [(2.0, 2.0, 28.955), (1.7, 2.4286, 34.209), (1.4, 3.5, 41.850)],
)
def test_a_loop_on_the_bound_has_the_printed_margins(ms, gain_margin, phase_margin_deg):
    """A gain curve that keeps the distance 1/Ms from -1 touches both bounds."""

    def around(w):
        # From beyond the unit circle round -1 to the negative real axis.
        angle = math.pi * (0.9 - 0.9 * np.log10(w))
        return -1.0 + np.exp(-1j * angle) / ms

    found = measure_margins(around, 1.0, 10.0)
    assert found.ms == pytest.approx(ms, rel=1e-9)
    assert found.gain_margin == pytest.approx(gain_margin, abs=5e-5)
    assert found.phase_margin_deg == pytest.approx(phase_margin_deg, abs=5e-4)
    assert bounds(ms) == pytest.approx((gain_margin, phase_margin_deg), rel=3e-5)


@settings(max_examples=20)
@given(
    st.floats(0.1, 20.0), st.floats(0.05, 5.0), st.floats(0.0, 1.0), st.floats(0.0, 3.0)
)
def test_margins_of_stable_loops_keep_the_bounds_of_their_peak(
    gain, lag_s, delay_s, zero_s
):
    def response(w):
        s = 1j * w
        lags = (s + 1.0) ** 2 * (lag_s * s + 1.0)
        return gain * (zero_s * s + 1.0) * np.exp(-s * delay_s) / lags

    found = measure_margins(response, 1e-4, 1e4)
    stable = found.gain_margin > 1.0 and found.phase_margin_deg > 0.0
    if stable and found.ms > 1.0 + ROUNDING:
        gain_bound, phase_bound_deg = bounds(found.ms)
        assert found.gain_margin >= gain_bound * (1.0 - ROUNDING)
        assert found.phase_margin_deg >= phase_bound_deg - 1e-3
