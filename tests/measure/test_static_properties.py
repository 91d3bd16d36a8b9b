"""Properties of the static evaluation over drawn tables."""

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from host_sim.errors import InputError
from host_sim.measure.static import evaluate_static
from host_sim.measure.static_lines import independent_line, zero_based_line
from host_sim.measure.static_table import StaticRange, StaticTable, Travel

SAME = 1e-6
"""Percent of span; the solver's tolerance is 1e-7 of the largest error."""
RANGES = (
    StaticRange((4.0, 20.0), (20e3, 100e3)),
    StaticRange((4.0, 12.0), (6e5, 0.0)),
    StaticRange((20.0, 4.0), (1e5, 7e5)),
)


@st.composite
def error_tables(draw):
    """Draw errors in percent, shape (2, cycles, points), and their inputs."""
    points, cycles = draw(st.integers(3, 9)), draw(st.integers(1, 4))
    errors = draw(
        st.lists(
            st.floats(-5.0, 5.0),
            min_size=2 * cycles * points,
            max_size=2 * cycles * points,
        )
    )
    return np.array(errors).reshape(2, cycles, points)


def made(errors_percent, span=RANGES[0]):
    """Make the table that has these errors."""
    points = errors_percent.shape[-1]
    inputs = np.array([span.current_at_ma(p) for p in np.linspace(0, 100, points)])
    travels = [
        Travel(
            f"cycle {k}",
            rising,
            inputs,
            span.ideal_pa(inputs) + span.span_pa * cycle / 100.0,
        )
        for rising, cycles in zip((True, False), errors_percent, strict=True)
        for k, cycle in enumerate(cycles)
    ]
    return StaticTable(span, tuple(travels))


def sizes(found):
    """All results that have one number."""
    return [
        found.inaccuracy_percent,
        found.measured_error.percent,
        found.hysteresis.percent,
        found.hysteresis_cycle.percent,
        found.zero_error_percent,
        found.span_error_percent,
        *(line.linearity_percent for line in found.lines.values()),
    ]


@given(error_tables())
def test_static_linearities_are_in_order(errors):
    found = evaluate_static(made(errors))
    independent, terminal, zero_based = (
        found.lines[name].linearity_percent
        for name in ("independent", "terminal", "zero_based")
    )
    assert independent <= zero_based + SAME
    assert zero_based <= terminal + SAME
    assert independent <= found.lines["least_squares"].linearity_percent + SAME
    for line in found.lines.values():
        spread = line.above_percent - line.below_percent
        assert independent <= spread / 2.0 + SAME


@given(error_tables())
def test_static_figures_of_readings_are_in_order(errors):
    found = evaluate_static(made(errors))
    assert found.inaccuracy_percent == pytest.approx(np.abs(errors).max(), abs=SAME)
    assert abs(found.measured_error.percent) <= found.inaccuracy_percent + SAME
    assert found.hysteresis.percent <= found.hysteresis_cycle.percent + SAME
    assert found.above.percent >= 0.0 >= found.below.percent


@given(error_tables(), st.floats(-3.0, 3.0), st.floats(-0.05, 0.05))
def test_static_line_added_changes_no_independent_linearity(errors, shift, tilt):
    ramp = shift + tilt * np.linspace(0.0, 100.0, errors.shape[-1])
    plain, moved = (evaluate_static(made(e)) for e in (errors, errors + ramp))
    for name in ("independent", "terminal", "zero_based", "least_squares"):
        assert moved.lines[name].linearity_percent == pytest.approx(
            plain.lines[name].linearity_percent, abs=SAME
        )
    assert moved.hysteresis.percent == pytest.approx(plain.hysteresis.percent, abs=SAME)
    assert moved.zero_error_percent == pytest.approx(
        plain.zero_error_percent + shift, abs=SAME
    )
    assert moved.span_error_percent == pytest.approx(
        plain.span_error_percent + 100.0 * tilt, abs=SAME
    )


@given(error_tables(), st.sampled_from(RANGES[1:]))
def test_static_results_do_not_depend_on_range_or_acting(errors, span):
    plain, other = (evaluate_static(made(errors, s)) for s in (RANGES[0], span))
    assert sizes(other) == pytest.approx(sizes(plain), abs=SAME)


def test_static_reverse_acting_is_told():
    assert [span.is_reverse for span in RANGES] == [False, True, True]


@given(error_tables(), st.floats(0.0, 20.0))
def test_static_dead_band_is_taken_off_hysteresis(errors, dead_band):
    found = evaluate_static(made(errors), dead_band)
    left = max(found.hysteresis.percent - dead_band, 0.0)
    assert found.hysteresis_alone_percent == left


@given(error_tables())
def test_static_equal_cycles_repeat_exactly(errors):
    same = np.repeat(errors[:, :1], 3, axis=1)
    found = evaluate_static(made(same))
    assert found.repeatability.percent == pytest.approx(0.0, abs=SAME)
    assert found.hysteresis.percent == pytest.approx(
        found.hysteresis_cycle.percent, abs=SAME
    )


CURVES = st.lists(st.floats(-5.0, 5.0), min_size=3, max_size=9)


@given(CURVES, st.randoms(use_true_random=False))
def test_static_minimax_lines_match_search_over_all_candidates(curve, random):
    """Each best line has the tilt of two points, or halves two errors."""
    y = np.array(curve)
    x = np.cumsum([random.uniform(1.0, 20.0) for _ in curve])
    pairs = list(itertools.combinations(range(len(x)), 2))
    tilts = [(y[j] - y[i]) / (x[j] - x[i]) for i, j in pairs]
    best = min(np.ptp(y - tilt * x) for tilt in tilts) / 2.0
    assert independent_line(x, y).linearity_percent == pytest.approx(best, abs=SAME)
    run, rise = x - x[0], y - y[0]
    both = itertools.combinations_with_replacement(range(1, len(x)), 2)
    tilts = [(rise[i] + rise[j]) / (run[i] + run[j]) for i, j in both]
    best = min(np.abs(rise - tilt * run).max() for tilt in tilts)
    assert zero_based_line(x, y).linearity_percent == pytest.approx(best, abs=SAME)


def test_static_one_way_once_tells_no_hysteresis_and_no_repeatability():
    table = made(np.zeros((2, 1, 5)))
    found = evaluate_static(StaticTable(table.span, table.travels[:1]))
    assert found.hysteresis is None
    assert found.hysteresis_cycle is None
    assert found.repeatability is None
    assert found.average_down_percent is None
    assert "no reading on the way down" in found.notes[0]
    assert "travelled twice" in found.notes[1]


def test_static_part_of_the_range_tells_no_span_error():
    span = RANGES[0]
    inputs = np.array([8.0, 12.0, 16.0])
    travel = Travel("up", True, inputs, span.ideal_pa(inputs))
    found = evaluate_static(StaticTable(span, (travel,)))
    assert found.zero_error_percent is None
    assert found.span_error_percent is None
    assert any("from 25 to 75 %" in note for note in found.notes)


def test_static_inputs_that_scatter_are_each_held_against_their_own_ideal():
    span = RANGES[0]
    inputs = np.array([4.0, 12.0, 20.0])
    travels = [
        Travel(name, True, inputs + off, span.ideal_pa(inputs + off))
        for name, off in (("a", 0.02), ("b", -0.03))
    ]
    found = evaluate_static(StaticTable(span, tuple(travels)))
    assert found.inaccuracy_percent == pytest.approx(0.0, abs=1e-9)
    assert found.repeatability.percent == pytest.approx(0.0, abs=1e-9)


REFUSALS = {
    "none": ([], "no readings"),
    "two points": ([[4.0, 20.0]], "at least 3"),
    "unequal": ([[4.0, 12.0, 20.0], [4.0, 20.0]], "2 points where"),
    "another input": ([[4.0, 12.0, 20.0], [4.0, 16.0, 20.0]], "same points"),
    "an input twice": ([[4.0, 4.0, 20.0]], "same points"),
}


@pytest.mark.parametrize("name", REFUSALS)
def test_static_table_refuses(name):
    rows, words = REFUSALS[name]
    travels = [
        Travel(f"travel {k}", True, np.array(row), np.array(row))
        for k, row in enumerate(rows)
    ]
    with pytest.raises(InputError, match=words):
        StaticTable(RANGES[0], tuple(travels))


@pytest.mark.parametrize("dead_band", [-0.1, float("nan"), float("inf")])
def test_static_refuses_a_dead_band_that_is_none(dead_band):
    with pytest.raises(InputError, match="dead band"):
        evaluate_static(made(np.zeros((2, 1, 3))), dead_band)
