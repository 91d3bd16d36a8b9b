"""Older layouts, all invented here: their blocks are read by a table of steps."""

import struct
import zlib
from array import array

import pytest
from hypothesis import given
from hypothesis import strategies as st
from memory_banks import MemoryBanks

from firmware_model.device.store import Store, count_words, migrate

TICK_US = 10_000
WORD = st.integers(-1000, 1000)


def layout(version, names, steps):
    """Make a layout whose words may be anything within 1000."""
    rows = tuple((name, (-1000, 1000), 7, "") for name in names)
    return version, rows, (("low", "high"),), steps


TO_2 = ((1, 11), (3, 33))
TO_3 = ((0, None),)
TO_4 = ((4, 5), (0, None), (0, None))
# Version 1 has ``first low high``; then words come and go.
FIRST = layout(1, ("first", "low", "high"), ())
SECOND = layout(2, ("first", "a", "low", "b", "high"), (TO_2,))
THIRD = layout(3, ("a", "low", "b", "high"), (TO_2, TO_3))
FOURTH = layout(4, ("b", "high", "c"), (TO_2, TO_3, TO_4))
FOURTH = (*FOURTH[:2], (), FOURTH[3])


def load(banks, of):
    """Start firmware of a layout; return its store and words."""
    store = Store(banks, TICK_US, of)
    words = array("i", [0] * len(of[1]))
    store.load(words)
    return store, list(words)


def saved(of, words):
    """Save words with the firmware of a layout."""
    banks = MemoryBanks()
    load(banks, of)[0].save(array("i", words))
    return banks


@pytest.mark.parametrize(
    ("of", "counts", "most"),
    [
        (FIRST, [3], 3),
        (SECOND, [3, 5], 5),
        (THIRD, [3, 5, 4], 5),
        (FOURTH, [3, 5, 4, 3], 5),
    ],
)
def test_migration_counts_the_words_of_every_version(of, counts, most):
    assert count_words(of) == (counts, most)


@given(first=WORD, low=WORD, high=WORD)
def test_migration_brings_version_1_to_every_later_one(first, low, high):
    low, high = sorted((low, high))
    banks = saved(FIRST, [first, low, high])
    assert load(banks, SECOND)[1] == [first, 11, low, 33, high]
    assert load(banks, THIRD)[1] == [11, low, 33, high]
    assert load(banks, FOURTH)[1] == [33, high, 5]


@given(words=st.lists(WORD, min_size=5, max_size=5))
def test_migration_brings_version_2_to_version_4(words):
    words[2], words[4] = sorted((words[2], words[4]))
    assert load(saved(SECOND, words), FOURTH)[1] == [words[3], words[4], 5]


def test_migration_of_a_step_that_first_grows_loses_nothing():
    """Within the step there are more words than before it and after it."""
    old = layout(1, ("x", "low", "high"), ())
    new = layout(2, ("low", "high", "y"), (((3, 9), (0, None)),))
    assert load(saved(old, [1, 2, 3]), new)[1] == [2, 3, 9]


def test_migration_stores_nothing_until_a_save():
    banks = saved(FIRST, [1, 2, 3])
    before = list(banks.contents)
    store, words = load(banks, SECOND)
    assert banks.contents == before
    store.save(array("i", words))
    assert load(banks, SECOND)[1] == words
    # The block of the older firmware is still there, so it can go back.
    assert banks.contents[0] == before[0]
    assert load(banks, FIRST)[1] == [1, 2, 3]


def test_migration_checks_the_words_that_it_made():
    narrow = (2, (*FIRST[1], ("d", (0, 5), 0, "")), (), (((3, 6),),))
    store, words = load(saved(FIRST, [1, 2, 3]), narrow)
    assert store.is_factory
    assert words == [7, 7, 7, 0]


def test_migration_refuses_a_count_that_is_not_the_versions():
    raw = struct.pack("<4Hi4i", 0x6970, 1, 0, 4, TICK_US, 1, 2, 3, 4)
    banks = MemoryBanks()
    banks.contents[0] = raw + struct.pack("<I", zlib.crc32(raw))
    assert load(banks, SECOND)[0].is_factory


@given(
    words=st.lists(WORD, min_size=1, max_size=6),
    edits=st.lists(st.tuples(st.integers(0, 5), st.none() | WORD), max_size=8),
)
def test_migration_edits_are_those_of_a_list(words, edits):
    expected = list(words)
    legal = []
    for slot, word in edits:
        if word is None and slot < len(expected):
            del expected[slot]
            legal.append((slot, word))
        elif word is not None and slot <= len(expected):
            expected.insert(slot, word)
            legal.append((slot, word))
    room = array("i", [*words, *[0] * len(legal)])
    migrate(room, 1, (tuple(legal),))
    assert list(room)[: len(expected)] == expected
