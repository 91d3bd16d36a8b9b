"""Amounts and prices: the same thing in other units, and what is refused.

Outside truth: 1 Nm3 (DIN 1343) = 1.0874400 m3 ANR (ISO 8778) by densities of dry
ideal air, second-hand, typed in from the project's collection of outside values.
ANR counts here at the conventional density of humid air, 1.185 kg/m3, which is
0.28 % below the dry one: hence the tolerance of 0.3 %. One foot is 0.3048 m, exact.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from host_sim.errors import InputError
from host_sim.scenario.units import Basis
from host_sim.size.savings_range import Range
from host_sim.size.savings_units import (
    air_mass,
    money,
    per,
    plain,
    read_amount,
    read_range,
)

COIN = money("credits")
HOURLY, ENERGY = per(COIN, plain("s")), per(COIN, plain("J"))
AIR, SPECIFIC = per(COIN, air_mass(Basis())), per(plain("J"), air_mass(Basis()))


def read(said, scale):
    return read_amount(said, scale, "file: key", "'1 credits/h'")


@pytest.mark.parametrize(
    ("one", "other", "scale"),
    [
        ("36 credits/h", "0.6 credits/min", HOURLY),
        ("36 credits/h", "0.01 credits/s", HOURLY),
        ("0.36 credits/kWh", "0.1 credits/MJ", ENERGY),
        ("30 credits/m3 ANR", "0.03 credits/L ANR", AIR),
        ("1.185 credits/m3 ANR", "1 credits/kg", AIR),
        ("0.1 kWh/m3 ANR", "360 kJ/m3 ANR", SPECIFIC),
        ("2 credits/m3 ANR", "2e0   credits / m3 ANR", AIR),
    ],
)
def test_units_same_price_in_other_units_is_the_same_number(one, other, scale):
    assert read(one, scale) == pytest.approx(read(other, scale), rel=1e-12)


def test_units_air_of_other_references_differs_by_the_densities():
    ratio = read("1 credits/Nm3", AIR) / read("1 credits/m3 ANR", AIR)
    assert 1 / ratio == pytest.approx(1.0874400, rel=3e-3)
    feet = read("1 credits/ft3 (60 degF, 14.696 psia)", AIR)
    metres = read("1 credits/m3 (60 degF, 14.696 psia)", AIR)
    assert feet / metres == pytest.approx(1 / 0.3048**3)


@given(st.floats(1e-6, 1e6))
def test_units_round_trip_through_text(number):
    assert read(f"{number!r} credits/h", HOURLY) == pytest.approx(number / 3600)


@pytest.mark.parametrize(
    ("said", "scale", "words"),
    [
        (40, HOURLY, "a number, a space and a unit"),
        ("41", HOURLY, "a number, a space and a unit"),
        ("40credits/h", HOURLY, "a number, a space and a unit"),
        ("0,2 credits/h", HOURLY, "a number, a space and a unit"),
        (True, HOURLY, "a number, a space and a unit"),
        ("nan credits/h", HOURLY, "a number, a space and a unit"),
        ("1e999 credits/h", HOURLY, "not a finite number"),
        ("-3 credits/h", HOURLY, "negative"),
        ("40 thalers/h", HOURLY, "not converted"),
        ("40 credits", HOURLY, "not one unit over another"),
        ("40 credits/kg", HOURLY, "wrong dimension"),
        ("40 credits/shift", HOURLY, "unknown unit"),
        ("0.03 credits/m3", AIR, "stated reference"),
        ("0.03 credits/scf", AIR, "stated reference"),
        ("100 credits/kWh", HOURLY, "wrong dimension"),
        ("2000 credits", None, "not a bare number"),
        (True, None, "not a bare number"),
        (float("inf"), None, "not a finite number"),
        (-1, None, "negative"),
    ],
)
def test_units_refused_in_one_line(said, scale, words):
    with pytest.raises(InputError, match=words) as caught:
        read(said, scale)
    assert "\n" not in str(caught.value)
    assert "file: key" in str(caught.value)


def test_range_is_one_value_or_three_that_rise():
    assert read_range(5, None, "k", "1") == Range(5.0, 5.0, 5.0)
    assert read_range([1, 1, 2], None, "k", "1") == Range(1.0, 1.0, 2.0)
    for said, words in (
        ([3, 2, 4], "do not rise"),
        ([1, 3, 2], "do not rise"),
        ([1, 2], "a list of 2"),
        ([], "a list of 0"),
        ([1, -2, 3], "expected = -2: negative"),
    ):
        with pytest.raises(InputError, match=words):
            read_range(said, None, "k", "1")
