"""Ranges, bounds and draws.

Outside truth: mean, variance and quantiles of the triangular distribution, closed
forms of textbooks, from memory: mean (a + b + c)/3, variance
(a2 + b2 + c2 - ab - ac - bc)/18, quantile a + sqrt(u (b - a)(c - a)) up to the
mode c and b - sqrt((1 - u)(b - a)(b - c)) beyond it. Also computed by
scipy.stats.triang as an independent path. Tolerance: five standard errors of
20 000 draws.
"""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from host_sim.size.savings_range import DRAWS, Range, draw, spread

# The width is squared on the way, and no price is so small that this underflows.
FINITE = st.floats(-1e6, 1e6).map(lambda x: x if abs(x) > 1e-100 else 0.0)


@st.composite
def ranges(draw_one):
    return Range(*sorted(draw_one(st.lists(FINITE, min_size=3, max_size=3))))


def within(number, about):
    slack = 1e-9 * max(abs(about.low), abs(about.high), 1e-300)
    return about.low - slack <= number <= about.high + slack


@given(ranges(), ranges(), st.floats(0, 1), st.floats(0, 1))
def test_range_no_choice_leaves_the_bounds(one, two, share, other):
    x = one.low + share * (one.high - one.low)
    y = two.low + other * (two.high - two.low)
    assert within(x + y, one + two)
    assert within(x - y, one - two)
    assert within(x * y, one * two)
    assert within(x * y, one * y)


@given(ranges(), ranges())
def test_range_results_rise_from_low_to_high(one, two):
    for about in (one + two, one - two, one * two):
        assert about.low <= about.expected <= about.high


@given(ranges())
def test_range_ends_are_reached(about):
    assert (about * Range(1.0, 1.0, 1.0)) == about
    assert (about * -1.0) == Range(-about.high, -about.expected, -about.low)


@given(ranges(), st.floats(0.1, 10))
def test_draw_stays_inside_repeats_and_scales(about, factor):
    drawn = draw({"x": about})["x"]
    beside = draw({"y": about, "x": about})
    scaled = draw({"x": about * factor})["x"]
    assert drawn.min() >= about.low
    assert drawn.max() <= about.high
    assert np.array_equal(drawn, beside["x"])
    size = max(abs(about.low), abs(about.high))
    assert np.allclose(scaled, factor * drawn, rtol=0, atol=1e-12 * factor * size)


def test_draw_other_names_are_independent():
    about = Range(0.0, 1.0, 3.0)
    drawn = draw({"x": about, "y": about})
    correlation = np.corrcoef(drawn["x"], drawn["y"])[0, 1]
    assert abs(correlation) < 5 / math.sqrt(DRAWS)


@pytest.mark.parametrize("ends", [(0, 1, 4), (2, 2, 5), (-3, 1, 1), (10, 11, 12)])
def test_draw_has_the_triangle_of_the_textbooks(ends):
    a, c, b = map(float, ends)
    drawn = draw({"x": Range(a, c, b)})["x"]
    variance = (a * a + b * b + c * c - a * b - a * c - b * c) / 18
    error = math.sqrt(variance / DRAWS)
    assert drawn.mean() == pytest.approx((a + b + c) / 3, abs=5 * error)
    assert drawn.var() == pytest.approx(variance, rel=5 * math.sqrt(2 / DRAWS))
    triangle = stats.triang((c - a) / (b - a), a, b - a)
    for share in (0.1, 0.5, 0.9):
        below_mode = share <= (c - a) / (b - a)
        quantile = (
            a + math.sqrt(share * (b - a) * (c - a))
            if below_mode
            else b - math.sqrt((1 - share) * (b - a) * (b - c))
        )
        assert triangle.ppf(share) == pytest.approx(quantile)
        below = float(np.mean(drawn <= quantile))
        assert below == pytest.approx(
            share, abs=5 * math.sqrt(share * (1 - share) / DRAWS)
        )


def test_draw_certain_number_is_itself():
    assert set(draw({"x": Range(2.0, 2.0, 2.0)})["x"].tolist()) == {2.0}


def test_spread_with_infinities_has_no_nan():
    draws = np.concatenate((np.full(50, 1.0), np.full(50, np.inf)))
    got = spread(Range(1.0, 1.0, math.inf), draws)
    assert (got.p10, got.p50, got.p90) == (1.0, 1.0, math.inf)
