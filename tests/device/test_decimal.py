"""Decimal text in integers, against Python's own decimals."""

from array import array
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_model.device.decimal import from_ratio, parse, write

DIGITS = st.integers(-999_999_999, 999_999_999)


def value(number):
    return Fraction(number[0]) * Fraction(10) ** number[1]


def written(number):
    line = bytearray(64)
    return bytes(line[: write(number, line, 0)])


@given(digits=DIGITS, exponent=st.integers(-18, 8))
def test_decimal_text_reads_back_as_the_same_number(digits, exponent):
    number, again = array("i", [digits, exponent]), array("i", [0, 0])
    text = written(number)
    assert value((digits, exponent)) == Fraction(Decimal(text.decode()))
    assert parse(text, 0, len(text), again) == len(text)
    assert value(again) == value(number)


NRF = r"[+-]?([0-9]{1,7}(\.[0-9]{0,2})?|\.[0-9]{1,8})([eE][+-]?[0-9])?"


@given(text=st.from_regex(NRF, fullmatch=True))
def test_decimal_reads_what_python_reads(text):
    number = array("i", [0, 0])
    raw = text.encode()
    assert parse(raw, 0, len(raw), number) == len(raw)
    assert value(number) == Fraction(Decimal(text))


@given(raw=st.binary(max_size=30))
def test_decimal_of_any_bytes_gives_a_number_within_31_bits_or_none(raw):
    number = array("i", [0, 0])
    after = parse(raw, 0, len(raw), number)
    assert -1 <= after <= len(raw)
    if after > 0:
        assert abs(number[0]) < 2**30 - 1
        assert -30 <= number[1] <= 45


@pytest.mark.parametrize("raw", [b"", b"-", b".", b"E5", b"1E", b"1E+", b"1E99", b"x1"])
def test_decimal_refuses_what_is_none(raw):
    assert parse(raw, 0, len(raw), array("i", [0, 0])) == -1


@given(top=st.integers(-(10**14), 10**14), bottom=st.integers(1, 10**14))
def test_decimal_of_a_ratio_has_nine_right_digits(top, bottom):
    number = array("i", [0, 0])
    from_ratio(top, bottom, number)
    exact = Fraction(top, bottom)
    assert abs(value(number) - exact) <= abs(exact) * Fraction(5, 10**9)
    assert (number[0] == 0) == (top == 0)
