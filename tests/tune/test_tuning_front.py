"""The front: nothing on it is beaten, and the prices are those of its figures."""

from dataclasses import dataclass

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tuning_checks import beats, check_front

from host_sim.tune.front import _beaten, prices


@dataclass(frozen=True)
class Point:
    settling_s: float
    overshoot: float
    travel: float


# Few different numbers, so that equal ones are common.
NUMBERS = st.integers(0, 4).map(float)
POINTS = st.lists(st.builds(Point, NUMBERS, NUMBERS, NUMBERS), min_size=1, max_size=25)


@given(points=POINTS)
def test_front_counts_those_that_beat_each_point(points):
    check_front(points)


@given(points=POINTS)
def test_front_is_never_empty_and_beats_all_that_is_left_out(points):
    counts = _beaten(points)
    kept = [p for p, count in zip(points, counts, strict=True) if count == 0]
    assert kept
    for point, count in zip(points, counts, strict=True):
        assert (count > 0) == any(beats(other, point) for other in kept)


@given(points=st.lists(st.builds(Point, *[st.floats(0.0, 20.0)] * 3), min_size=1))
def test_front_prices_have_a_line_for_each_point_and_none_for_the_first(points):
    told = prices(points)
    assert len(told) == len(points)
    assert told[0] == ""


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        ((2.0, 0.01, 3.0), (1.88, 0.04, 3.0), "0.12 s faster: 3 % overshoot more"),
        (
            (2.0, 0.05, 3.0),
            (1.5, 0.03, 3.4),
            "0.5 s faster: 2 % overshoot less, 0.4 strokes more",
        ),
        ((2.0, 0.05, 3.0), (1.9, 0.05, 3.0), "0.1 s faster: free"),
    ],
)
def test_front_price_says_what_the_figures_say(before, after, said):
    assert prices([Point(*before), Point(*after)])[1] == said
