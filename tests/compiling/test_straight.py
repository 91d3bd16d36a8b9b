"""Each construct that straight code has: CPython's numbers, in every lane.

Small plain functions, run on CPython and compiled for 1, 4 and 16 lanes with other
numbers in each lane, are compared bit for bit: infinities, NaN and the sign of zero
too.
"""

import math

import pytest
from both_ways import MOST, agree
from hypothesis import example, given
from hypothesis import strategies as st
from straight_constructs import CASES, SIGNATURE, TURNS, arguments, deal

from host_sim.compiling.native import Number, Table

REALS = st.one_of(
    st.sampled_from((0.0, -0.0, 0.5, 1.0, -1.0, math.inf, -math.inf, math.nan, 5e-324)),
    st.floats(-50.0, 50.0),
    st.floats(),
)
WHOLES = st.one_of(st.integers(-3, 3), st.integers(-30_000, 30_000))


def few(numbers):
    return st.lists(numbers, min_size=5, max_size=11)


@pytest.mark.parametrize("function", CASES, ids=lambda function: function.__name__)
@example(x=[0.0, -0.0, -0.5, math.nan], i=[0, 1, -1])
@example(x=[-0.0, math.inf, 0.0, 2.0, 1.0], i=[1, 2, 3, 4, -9])
@example(x=TURNS, i=[1, 2, 3, 4, -9])
@given(x=few(REALS), i=few(WHOLES))
def test_straight_construct_gives_cpython_numbers(function, x, i):
    agree(function, SIGNATURE, arguments(x, i))


# -- arrays that are more than a row of numbers ---------------------------------


def delay(count, line, heads, x, out):
    for n in range(count):
        head = heads[0] + 1 if heads[0] + 1 < len(line) else 0
        line[head] = x[n]
        heads[0] = head
        back = int(out[1])
        near = head - back
        near = near + len(line) if near < 0 else near
        far = near - 1 if near > 0 else len(line) - 1
        out[0] += line[near] + 0.25 * (line[far] - line[near])


@given(x=few(REALS), back=few(st.integers(0, 3)))
def test_straight_delay_line_gives_cpython_numbers(x, back):
    signature = {
        "count": Number("int"),
        "line": Table("float", length=None),
        "heads": Table("int", laned=False, length=1),
        "x": Table("float", length=7),
        "out": Table("float", length=2),
    }
    given = {
        "count": 7,
        "line": [[0.0] * 4] * MOST,
        "heads": [[2]],
        "x": deal(x, 7),
        "out": [[0.0, float(one)] for (one,) in deal(back, 1)],
    }
    agree(delay, signature, given)


def through_scratch(count, table, known, scratch, out):
    for n in range(count):
        for k in range(len(scratch)):
            scratch[k] = known[k] * out[k]
        scratch[1] += float(table[n, 1])
        if known[0] > 0.0 and known[1] == 0.0 and known[2] < 0.0:
            out[0] = scratch[0] + scratch[1]
        else:
            out[1] = 77.0
        out[2] = scratch[2] if known[1] != 0.0 else -scratch[2]
        table[n, 2] = table[n, 0] + n


@given(x=few(st.floats(-9.0, 9.0)), i=few(WHOLES))
def test_straight_rows_scratch_and_known_elements(x, i):
    signature = {
        "count": Number("int"),
        "table": Table("int", row=3),
        "known": Table("float", length=3, known=((0, "+"), (1, 0.0), (2, "-"))),
        "scratch": Table("float", length=3, scratch=True),
        "out": Table("float", length=3),
    }
    known = [[0.5 + lane, 0.0, -2.0 - lane] for lane in range(MOST)]
    scratch = [[9.0] * 3] * MOST
    given = {"count": 2, "table": deal(i, 6), "known": known}
    given |= {"scratch": scratch, "out": deal(x, 3)}
    agree(through_scratch, signature, given, plain=through_flat)


def through_flat(count, table, known, scratch, out):
    through_scratch(count, _Rows(table), known, scratch, out)


class _Rows:
    """A flat array that takes two indices."""

    def __init__(self, flat):
        self.flat = flat

    def __getitem__(self, place):
        return self.flat[3 * place[0] + place[1]]

    def __setitem__(self, place, number):
        self.flat[3 * place[0] + place[1]] = number
