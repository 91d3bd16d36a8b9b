"""Intervals against plain integers: nothing that can happen is left out.

Every property draws bounds and one integer within them, and asks for that
integer's own result: within the bounds of the result, on a path that its own
comparisons would take.
"""

import operator

import pytest
from hypothesis import given
from hypothesis import strategies as st

from host_sim.prove.interval import LIMIT, Interval
from host_sim.prove.interval_paths import Paths, ProofError

small = st.integers(-300, 300)
wide = st.integers(-(2**15), 2**15)
full = st.integers(-LIMIT, LIMIT)
OPERATORS = {
    "add": operator.add,
    "sub": operator.sub,
    "mul": operator.mul,
    "and": operator.and_,
    "or": operator.or_,
}
COMPARISONS = (
    operator.lt,
    operator.le,
    operator.gt,
    operator.ge,
    operator.eq,
    operator.ne,
)


@st.composite
def boxes(draw, numbers=wide):
    """Draw bounds and an integer within them."""
    low, number, high = sorted(draw(st.tuples(numbers, numbers, numbers)))
    return low, number, high


def interval(paths, box):
    return Interval(paths, box[0], box[2])


def path_ends(function, *drawn):
    """Run a function on boxes; list (returned, bounds of the arguments) by path."""
    paths, ends = Paths(), []

    def watched(*arguments):
        returned = function(*arguments)
        if isinstance(returned, Interval):
            returned = (returned.low, returned.high)
        ends.append((returned, [(a.low, a.high) for a in arguments]))

    paths.call(watched, *(interval(paths, box) for box in drawn))
    return ends


def assert_some_path_allows(function, *drawn):
    """The path of the drawn integers is there, with their result on it."""
    numbers = [number for _, number, _ in drawn]
    expected = function(*numbers)
    for returned, spans in path_ends(function, *drawn):
        if isinstance(returned, tuple):
            right = returned[0] <= expected <= returned[1]
        else:
            right = returned == expected
        if right and all(
            low <= number <= high
            for (low, high), number in zip(spans, numbers, strict=True)
        ):
            return
    pytest.fail(f"no path for {numbers} with result {expected}")


@pytest.mark.parametrize("name", OPERATORS)
@given(one=boxes(), other=boxes())
def test_interval_operator_holds_every_result(name, one, other):
    try:
        assert_some_path_allows(OPERATORS[name], one, other)
    except ProofError:
        corners = [abs(a * b) for a in one[::2] for b in other[::2]]
        assert name == "mul"
        assert max(corners) > LIMIT


@given(one=boxes())
def test_interval_negative_holds_every_result(one):
    assert_some_path_allows(operator.neg, one)


@given(one=boxes(full), other=boxes(st.integers(1, LIMIT)))
def test_interval_floor_division_holds_every_result(one, other):
    assert_some_path_allows(operator.floordiv, one, other)


@given(one=boxes(full), count=boxes(st.integers(0, 29)))
def test_interval_right_shift_holds_every_result(one, count):
    assert_some_path_allows(operator.rshift, one, count)


@given(one=boxes(st.integers(0, 2**12)), count=boxes(st.integers(0, 17)))
def test_interval_left_shift_holds_every_result(one, count):
    assert_some_path_allows(operator.lshift, one, count)


@given(one=boxes(), bits=st.integers(0, 15))
def test_interval_mask_of_ones_holds_every_result(one, bits):
    mask = 2**bits - 1
    assert_some_path_allows(operator.and_, one, (mask, mask, mask))


@given(one=boxes(st.integers(0, 2**15)), bits=st.integers(0, 12))
def test_interval_quotient_and_remainder_stay_together(one, bits):
    """Where a shift forks, what is masked off belongs to the same quotient."""

    def put_together(number, bits, mask):
        return ((number >> bits) << bits) + (number & mask)

    mask = 2**bits - 1
    drawn = (one, (bits, bits, bits), (mask, mask, mask))
    assert_some_path_allows(put_together, *drawn)
    for (low, high), ((a, b), *_) in path_ends(put_together, *drawn):
        if one[2] - one[0] < 2**bits:
            assert (low, high) == (a, b)


@pytest.mark.parametrize("compare", COMPARISONS, ids=lambda f: f.__name__)
@given(one=boxes(small), other=boxes(small))
def test_interval_comparison_keeps_what_its_branch_allows(compare, one, other):
    assert_some_path_allows(compare, one, other)


@pytest.mark.parametrize("compare", COMPARISONS[:4], ids=lambda f: f.__name__)
@given(one=boxes(small), other=boxes(small))
def test_interval_comparison_narrows_to_what_its_branch_allows(compare, one, other):
    for outcome, ((a, b), (c, d)) in path_ends(compare, one, other):
        for end, others in ((a, (c, d)), (b, (c, d))):
            assert any(compare(end, number) is outcome for number in others)


@given(one=boxes(small))
def test_interval_truth_keeps_what_its_branch_allows(one):
    assert_some_path_allows(bool, one)


@pytest.mark.parametrize("compare", COMPARISONS, ids=lambda f: f.__name__)
@given(one=boxes(small), other=boxes(small), last=boxes(small))
def test_interval_narrowing_reaches_through_sums_soundly(compare, one, other, last):
    assert_some_path_allows(lambda a, b, c: compare(a - b, -c), one, other, last)
    assert_some_path_allows(lambda a, b, c: compare(a + b, c), one, other, last)
    assert_some_path_allows(lambda a, b, c: compare(a + a, b - c), one, other, last)


@given(one=boxes(small), low=boxes(small), high=boxes(small))
def test_interval_clamp_in_order_ends_within_its_limits(one, low, high):
    def clamp(number, low, high):
        if number < low:
            return low
        if number > high:
            return high
        return number

    assert_some_path_allows(clamp, one, low, high)
    for (least, most), _ in path_ends(clamp, one, low, high):
        assert min(low[0], high[0]) <= least
        assert most <= max(low[2], high[2])


def test_interval_narrowing_ends_with_its_path():
    paths = Paths()
    one, zero = Interval(paths, -5, 5), paths.point(0)
    paths.call(lambda: one if one < zero else zero)
    assert (one.low, one.high) == (-5, 5)


def test_interval_join_is_the_hull_of_returns_and_words():
    paths = Paths()
    paths.words[:] = [paths.point(7), paths.point(8)]

    def store(number):
        if number > paths.point(3):
            paths.words[0] = number
            return paths.point(1)
        return paths.point(0)

    untouched = paths.words[1]
    returned = paths.call(store, Interval(paths, 0, 9))
    assert (returned.low, returned.high) == (0, 1)
    assert (paths.words[0].low, paths.words[0].high) == (4, 9)
    assert paths.words[1] is untouched
    assert paths.paths == 2


def test_interval_contradiction_is_no_path():
    def contradict(number, zero):
        twice = number + number
        return zero < number and twice <= zero

    ends = path_ends(contradict, (-5, 0, 5), (0, 0, 0))
    assert {returned for returned, _ in ends} == {False}


@pytest.mark.parametrize(
    ("fails", "one", "other"),
    [
        (operator.add, (0, LIMIT), (0, 1)),
        (operator.sub, (-LIMIT, 0), (1, 1)),
        (operator.mul, (0, 2**15), (0, 2**15)),
        (operator.floordiv, (5, 5), (0, 9)),
        (operator.floordiv, (5, 5), (-9, -1)),
        (operator.lshift, (1, 1), (0, 30)),
        (operator.rshift, (1, 1), (-1, 3)),
        (operator.lshift, (1, 1), (29, 29 + 1)),
        (operator.lshift, (-1, 1), (1, 1)),
        (operator.lshift, (1, 2), (29, 29)),
    ],
)
def test_interval_refuses_what_a_board_cannot(fails, one, other):
    paths = Paths()
    with pytest.raises(ProofError):
        paths.call(fails, Interval(paths, *one), Interval(paths, *other))


@pytest.mark.parametrize("unknown", [operator.mod, operator.xor, operator.truediv])
def test_interval_refuses_operators_that_it_does_not_know(unknown):
    paths = Paths()
    with pytest.raises(TypeError):
        paths.call(unknown, paths.point(7), paths.point(3))


def test_interval_limit_itself_is_allowed():
    paths = Paths()
    top = paths.call(operator.add, paths.point(LIMIT - 1), paths.point(1))
    assert int(top) == LIMIT
