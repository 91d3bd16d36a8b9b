"""Numbers that depend on each other, bounded as polynomials."""

import operator

import pytest
from hypothesis import given, reject
from hypothesis import strategies as st

from firmware_model.law import arith
from host_sim.prove.interval import Interval
from host_sim.prove.interval_form import bounds_together
from host_sim.prove.interval_paths import Paths, ProofError

INPUTS = ("a", "b", "c")
numbers = st.integers(-60, 60)


def trees():
    """Draw an expression in three inputs, as nested tuples."""
    leaves = st.sampled_from(INPUTS) | st.integers(-4, 4)
    return st.recursive(
        leaves,
        lambda part: (
            st.tuples(st.sampled_from(("add", "sub", "mul")), part, part)
            | st.tuples(st.just("neg"), part)
            | st.tuples(st.just("rshift"), part, st.integers(0, 4))
        ),
        max_leaves=8,
    )


def evaluate(tree, values, point):
    if isinstance(tree, str):
        return values[tree]
    if isinstance(tree, int):
        return point(tree)
    name, *parts = tree
    return getattr(operator, name)(*(evaluate(p, values, point) for p in parts))


@given(tree=trees(), drawn=st.tuples(*[st.tuples(*[numbers] * 3)] * 3))
def test_form_holds_every_value_of_an_expression(tree, drawn):
    paths = Paths()
    boxes = [sorted(box) for box in drawn]
    spans = {
        name: Interval(paths, box[0], box[2])
        for name, box in zip(INPUTS, boxes, strict=True)
    }
    middle = {name: box[1] for name, box in zip(INPUTS, boxes, strict=True)}
    try:
        bound = paths.call(evaluate, tree, spans, paths.point)
    except ProofError:
        reject()
    expected = evaluate(tree, middle, int)
    assert bound.low <= expected <= bound.high


@given(
    one=st.tuples(st.integers(-500, -50), st.integers(50, 500)),
    other=st.tuples(st.integers(-500, -50), st.integers(50, 500)),
    bits=st.integers(1, 10),
)
def test_form_interpolation_stays_between_its_points(one, other, bits):
    paths = Paths()
    first, last = (Interval(paths, *pair) for pair in (one, other))
    share = Interval(paths, 0, 2**bits - 1)
    half = paths.point(2 ** (bits - 1))

    def interpolate():
        step = ((last - first) * share + half) >> paths.point(bits)
        return first + step

    bound = paths.call(interpolate)
    assert bound.low >= min(first.low, last.low)
    assert bound.high <= max(first.high, last.high)


def test_form_without_it_interpolation_would_leave_its_table():
    """The negative control: bounds alone are three times too wide."""
    first, last = (-25_000, 25_000), (-25_000, 25_000)
    step = (last[1] - first[0]) * 2_047
    assert first[1] + arith.scale(step // 2_047, 2_047, 11) > 70_000


def test_form_difference_of_a_number_with_itself_is_zero():
    paths = Paths()
    one = Interval(paths, -9, 9)
    assert bounds_together("sub", one, one) == (0, 0)
    assert bounds_together("sub", one, Interval(paths, -9, 9)) is None


@pytest.mark.parametrize("operation", ["add", "sub"])
def test_form_square_is_an_input_of_its_own(operation):
    """A square is not linear in its input, so corners would not bound it."""
    paths = Paths()
    one = Interval(paths, -5, 5)
    low, high = bounds_together(operation, one * one - one, one)
    for number in range(-5, 6):
        value = number**2 - (0 if operation == "add" else 2 * number)
        assert low <= value <= high
