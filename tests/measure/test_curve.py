"""The curve tools on coarse grids, where interpolation has to earn its keep.

Bounds are those of the interpolation itself, for the damped wave of a second
order with wn = 1, whose nth derivative is at most ``1 / sqrt(1 - zeta**2)`` from
the first on: a parabola is wrong by ``h**3 max|y'''| / (9 sqrt(3))``, a straight
line by ``h**2 max|y''| / 8`` (textbook remainders, common practice).
"""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq

from host_sim.measure.curve import (
    absolute_moments,
    cut,
    first_rise_to,
    highest,
    last_entry_into,
)

ZETA = 0.4
DAMPED = np.sqrt(1.0 - ZETA**2)
PEAK_S = np.pi / DAMPED
PEAK = 1.0 + np.exp(-ZETA * PEAK_S)
GRID_S = 0.2


def wave(time_s):
    turn = DAMPED * time_s
    return 1.0 - np.exp(-ZETA * time_s) * (np.cos(turn) + ZETA / DAMPED * np.sin(turn))


def slope(time_s):
    return np.exp(-ZETA * time_s) * np.sin(DAMPED * time_s) / DAMPED


def grids():
    """The same curve sampled at 40 phases of a coarse grid."""
    for phase in np.arange(40) / 40.0:
        yield np.arange(0, 100) * GRID_S + phase * GRID_S


def test_curve_peak_between_samples_stays_within_the_parabolas_bound():
    bound = GRID_S**3 / DAMPED / (9.0 * np.sqrt(3.0))
    found = [highest(time_s, wave(time_s)) for time_s in grids()]

    errors = [abs(height - PEAK) for _, height in found]
    assert max(errors) <= bound
    # The slope error h**2 max|y'''| / 6 over the curvature at the peak.
    assert max(abs(peak_s - PEAK_S) for peak_s, _ in found) <= GRID_S**2 / (
        6.0 * DAMPED * (PEAK - 1.0)
    )
    # What the parabola is for: the highest sample alone is far worse.
    assert max(PEAK - wave(time_s).max() for time_s in grids()) > 10.0 * max(errors)


def test_curve_peak_of_a_parabola_is_exact_on_any_grid():
    rng = np.random.default_rng(3)
    for _ in range(100):
        time_s = np.cumsum(rng.uniform(0.1, 2.0, 12))
        vertex_s = rng.uniform(time_s[1], time_s[-2])
        peak_s, height = highest(time_s, 7.0 - 0.5 * (time_s - vertex_s) ** 2)
        top = np.argmin(np.abs(time_s - vertex_s))
        if top not in (0, time_s.size - 1):
            assert peak_s == pytest.approx(vertex_s, abs=1e-9)
            assert height == pytest.approx(7.0, abs=1e-9)


def test_curve_flat_top_and_ends_keep_their_sample():
    time_s = np.arange(5.0)
    assert highest(time_s, np.array([0.0, 2.0, 3.0, 3.0, 1.0])) == (2.0, 3.0)
    assert highest(time_s, np.array([4.0, 2.0, 3.0, 3.0, 1.0])) == (0.0, 4.0)
    assert highest(time_s, np.array([0.0, 2.0, 3.0, 3.0, 5.0])) == (4.0, 5.0)


@pytest.mark.parametrize("level", [0.1, 0.5, 0.9])
def test_curve_first_crossing_stays_within_the_lines_bound(level):
    exact_s = brentq(lambda t: wave(t) - level, 0.0, PEAK_S)
    # The slope nowhere in the crossing's interval is below the smaller end's.
    steepness = min(slope(exact_s - GRID_S), slope(exact_s + GRID_S))
    bound_s = GRID_S**2 / 8.0 / DAMPED / steepness
    errors_s = [
        abs(first_rise_to(time_s, wave(time_s), level) - exact_s) for time_s in grids()
    ]
    assert max(errors_s) <= bound_s
    assert max(errors_s) < GRID_S / 8.0


def test_curve_last_entry_interpolates_from_either_side():
    time_s = np.array([0.0, 1.0, 2.0, 3.0])
    below = last_entry_into(time_s, np.array([-9.0, -5.0, 0.0, 0.5]), 1.0)
    above = last_entry_into(time_s, np.array([-9.0, 5.0, 0.0, 0.5]), 1.0)

    assert below == above == pytest.approx(1.8)
    assert last_entry_into(time_s, np.array([0.0, 0.0, 0.0, -1.5]), 1.0) is None
    # On the edge is inside.
    assert last_entry_into(time_s, np.array([1.0, -1.0, 1.0, -1.0]), 1.0) == 0.0


def test_curve_first_crossing_waits_for_the_level():
    time_s = np.array([0.0, 1.0, 2.0, 3.0])
    assert first_rise_to(time_s, np.array([0.0, 1.0, 0.0, 1.0]), 1.0) == 1.0
    assert first_rise_to(time_s, np.array([0.5, 0.0, 1.0, 1.0]), 0.5) == 0.0
    assert first_rise_to(time_s, np.array([0.6, 0.0, 1.0, 1.0]), 0.5) is None
    assert first_rise_to(time_s, np.array([0.0, 0.1, 0.2, 0.3]), 0.5) is None


@given(
    st.lists(
        st.tuples(st.floats(0.01, 3.0), st.floats(-1e3, 1e3)), min_size=3, max_size=8
    )
)
def test_curve_moments_are_exact_for_straight_pieces(pairs):
    time_s = np.cumsum([gap_s for gap_s, _ in pairs])
    error = np.array([size for _, size in pairs])

    plain, timed = absolute_moments(time_s, error)

    def size(t):
        return abs(np.interp(t, time_s, error))

    # The oracle splits at the samples and at every zero, where |e| has corners.
    zeros_s = [
        brentq(lambda t: np.interp(t, time_s, error), *ends)
        for ends, values in zip(pairwise(time_s), pairwise(error), strict=True)
        if values[0] * values[1] < 0.0
    ]
    edges_s = np.sort(np.concatenate((time_s, zeros_s)))
    pieces = list(pairwise(edges_s))
    expected = sum(quad(size, *piece)[0] for piece in pieces)
    assert plain == pytest.approx(expected, rel=1e-8, abs=1e-8)
    expected = sum(quad(lambda t: t * size(t), *piece)[0] for piece in pieces)
    assert timed == pytest.approx(expected, rel=1e-8, abs=1e-8)


def test_curve_cut_keeps_samples_and_interpolates_ends():
    time_s = np.array([0.0, 0.1, 0.2, 0.3 + 1e-16, 0.4])
    values = np.array([5.0, 1.0, 4.0, 2.0, 8.0])

    times_s, cut_values = cut(time_s, values, 0.05, 0.4)

    assert times_s.tolist() == [0.05, *time_s[1:].tolist()]
    assert cut_values.tolist() == [3.0, *values[1:].tolist()]
    # One instant with two roundings is one sample.
    assert cut(time_s, values, 0.3, 0.4)[0].tolist() == [0.3, 0.4]
