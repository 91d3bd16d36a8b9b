"""The carried rest across a change of the gain's shift."""

from array import array

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_model.law import arith


@given(
    shift=st.integers(1, 20),
    mantissa=st.integers(0, 16_383),
    value=st.integers(-30_000, 30_000),
    side=st.sampled_from((-1, 1)),
    excess=st.integers(1, 2**26),
)
def test_carry_drops_a_rest_of_an_older_larger_shift(
    shift, mantissa, value, side, excess
):
    half = 1 << (shift - 1)
    gain = array("i", [mantissa, shift])
    old, none = array("i", [side * (half + excess)]), array("i", [0])
    whole = arith.carry(old, 0, gain, 0, value)
    assert whole == arith.carry(none, 0, gain, 0, value)
    assert list(old) == list(none)


@pytest.mark.parametrize("side", [-1, 1])
def test_carry_keeps_a_rest_of_half_a_unit(side):
    rest = array("i", [side * 8])
    assert arith.carry(rest, 0, array("i", [8, 4]), 0, side) == side
    assert list(rest) == [0]
