"""Settings of a device: all words reached, ranges kept, numbers those of the host."""

import random
from array import array
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from memory_banks import MemoryBanks

from firmware_model.device import adjust
from firmware_model.device.adjust import ADJUSTMENTS, CONFLICT, OUT_OF_RANGE
from firmware_model.device.adjust_table import (
    CHOICE,
    DERIVATIVE_LAG,
    GAIN,
    HEADER,
    KIND,
    LABEL,
    LINEAR,
    SLOT,
    WORDS,
)
from firmware_model.device.device import Device
from firmware_model.device.layout import DEVICE_PARAMETERS
from firmware_model.device.store import Store
from host_sim.device.device_block import DeviceBlock
from host_sim.law.quantise import quantise
from host_sim.law.settings import Gains, LawSettings, Measurement, Pid

TICK_US = 10_000
NAMES = [row[0] for row in DEVICE_PARAMETERS]
ROWS = {row[HEADER]: row for row in ADJUSTMENTS}
# What calibration, the reference supply and the valve's flow curve set.
ELSEWHERE = {
    "CURRENT_GAIN",
    "CURRENT_OFFSET",
    "PRESSURE_GAIN",
    "PRESSURE_OFFSET",
    "SUPPLY_GAIN",
    "SUPPLY_OFFSET",
    "ABSOLUTE_GAIN",
    "ABSOLUTE_OFFSET",
}


def device():
    made = Device(Store(MemoryBanks(), TICK_US))
    made.save()
    made.restart()
    return made


def number(amount):
    """Write a number as a device takes it."""
    text = array("i", [0, 0])
    exact = Fraction(amount).limit_denominator(10**9)
    adjust.from_ratio(exact.numerator, exact.denominator, text)
    return text


def read(made, row, way=adjust.get):
    found = array("i", [0, 0])
    way(made, row, found)
    return Fraction(found[0]) * Fraction(10) ** found[1]


def test_adjust_reaches_every_word_that_a_person_sets():
    reached = {NAMES[row[SLOT]] for row in ADJUSTMENTS}
    words = {name for name in NAMES if not name.endswith("_SHIFT")}
    tables = {name for name in words if name.startswith(("FLOW_", "HOLD_"))}
    assert words - reached - ELSEWHERE - tables == set()


def test_adjust_headers_and_labels_are_unique_and_fit():
    assert len({row[HEADER] for row in ADJUSTMENTS}) == len(ADJUSTMENTS)
    assert len({row[LABEL] for row in ADJUSTMENTS}) == len(ADJUSTMENTS)
    assert max(len(row[LABEL]) for row in ADJUSTMENTS) <= 16
    roots = {"SOURce", "SENSe", "OUTPut", "CALibration", "SYSTem", "STATus", "MEMory"}
    for row in ADJUSTMENTS:
        nodes = row[HEADER].split(":")
        assert nodes[0] in roots
        # The standard allows twelve characters a mnemonic.
        assert max(map(len, nodes)) <= 12


@pytest.mark.parametrize("row", ADJUSTMENTS, ids=lambda row: row[HEADER])
def test_adjust_what_is_read_can_be_put_back_and_changes_nothing(row):
    made = device()
    before = array("i", made.params)
    found = array("i", [0, 0])
    adjust.get(made, row, found)
    assert adjust.put(made, row, found) == 0
    again = array("i", [0, 0])
    adjust.get(made, row, again)
    assert again == found
    if row[KIND] < GAIN:
        assert made.params == before


@given(place=st.integers(0, len(ADJUSTMENTS) - 1), seed=st.integers(0, 2**32))
def test_adjust_takes_numbers_within_the_range_and_no_others(place, seed):
    made, row, source = device(), ADJUSTMENTS[place], random.Random(seed)
    low, high = read(made, row, adjust.lowest), read(made, row, adjust.highest)
    assert low < high
    share = Fraction(source.randrange(1_001), 1_000)
    wanted = low + share * (high - low)
    if row[KIND] in (CHOICE,) or row[LABEL].endswith(("RULE", "CYCLES")):
        wanted = Fraction(round(wanted))
    result = adjust.put(made, row, number(wanted))
    assert result in (0, CONFLICT) or (wanted < high / 2**14 and row[KIND] >= GAIN)
    # Lags are kept to their nearest power of two at their far end.
    step = (high - low) * (2 if row[KIND] >= GAIN else Fraction(1, 100))
    for outside in (high + step + 1, low - step - 1):
        before = array("i", made.params)
        assert adjust.put(made, row, number(outside)) in (OUT_OF_RANGE, CONFLICT)
        assert made.params == before


def test_adjust_refuses_a_conflict_with_another_word():
    made = device()
    low, high = ROWS["OUTPut:LOW"], ROWS["OUTPut:HIGH"]
    assert adjust.put(made, high, number(40)) == 0
    assert adjust.put(made, low, number(50)) == CONFLICT
    assert read(made, low) == -100


@given(
    kp=st.floats(0.01, 50),
    ti_s=st.floats(0.05, 100),
    td_s=st.floats(0.0, 0.5),
    lag_s=st.floats(0.0, 0.5),
    filter_s=st.floats(0.0, 2.0),
)
def test_adjust_gives_the_words_of_the_host(kp, ti_s, td_s, lag_s, filter_s):
    td_s = round(td_s, 4)
    gains = Gains(kp=kp, ki_per_s=kp / ti_s, kd_s=kp * td_s)
    pid = Pid(gains=gains, derivative_filter_s=lag_s, tracking_s=0.7)
    settings_ = LawSettings(
        tick_s=TICK_US / 1e6, pid=pid, measurement=Measurement(filter_s=filter_s)
    )
    wanted = DeviceBlock.around(quantise(settings_))
    made = device()
    for header, amount in {
        "SOURce:PRESsure:GAIN:LAG": lag_s,
        "SOURce:PRESsure:GAIN:PROPortional": kp,
        "SOURce:PRESsure:GAIN:INTegral": kp / ti_s,
        "SOURce:PRESsure:GAIN:DERivative": kp * td_s,
        "SOURce:PRESsure:GAIN:TRACking": 0.7,
        "SENSe:PRESsure:FILTer": filter_s,
    }.items():
        assert adjust.put(made, ROWS[header], number(amount)) == 0
    for stem in ("P", "I", "D", "LEAK", "TRACK", "FILTER"):
        slot = wanted.slot[f"{stem}_GAIN"]
        ours = Fraction(made.params[slot], 2 ** made.params[slot + 1])
        theirs = Fraction(wanted.words[slot], 2 ** wanted.words[slot + 1])
        # One in the mantissa: nine digits, and for D the share as it is kept.
        assert abs(ours - theirs) <= theirs / 8_000, stem


def test_adjust_lag_of_the_derivative_keeps_its_gain():
    made = device()
    derivative = ROWS["SOURce:PRESsure:GAIN:DERivative"]
    adjust.put(made, derivative, number(Fraction("0.12")))
    for lag in ("0.05", "0.4", "0"):
        assert adjust.put(made, ROWS["SOURce:PRESsure:GAIN:LAG"], number(lag)) == 0
        assert abs(read(made, derivative) - Fraction("0.12")) < Fraction("0.00003")


def test_adjust_choices_have_a_word_for_each_place():
    for row in ADJUSTMENTS:
        if row[KIND] == CHOICE:
            low, high = DEVICE_PARAMETERS[row[SLOT]][1]
            assert (low, high) == (0, len(row[WORDS]) - 1)
        if row[KIND] == LINEAR:
            assert len(row) == 7
        assert row[KIND] <= DERIVATIVE_LAG + 1
