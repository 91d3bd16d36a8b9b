"""A stored block: its bytes, and whether they are whole.

Numbers stand with the lowest byte first, words in two's complement:

====== ===== ========================================================
offset bytes content
====== ===== ========================================================
0      2     mark, 6970
2      2     version of the layout of the words
4      2     sequence: every save takes the next one, 0 after FFFF
6      2     n, the number of words
8      4     tick that the words are made for, in microseconds
12     4 n   the words
12+4n  4     CRC-32 of all before
====== ===== ========================================================

Bytes after the CRC mean nothing.
"""

from firmware_model.device.crc import crc32
from firmware_model.law.arith import const

MARK = const(0x6970)
VERSION_AT = const(2)
SEQUENCE_AT = const(4)
COUNT_AT = const(6)
TICK_AT = const(8)
WORDS_AT = const(12)
CRC_BYTES = const(4)
_WORD_BYTES = const(4)
_START = const(0xFFFF)
# What the register holds after a message and its own CRC, whatever the message.
_RESIDUE_LOW = const(0x20E3)
_RESIDUE_HIGH = const(0xDEBB)


def block_bytes(count: int) -> int:
    """Length of a block of so many words.

    >>> block_bytes(94)
    392
    """
    return int(WORDS_AT + _WORD_BYTES * count + CRC_BYTES)


def get_half(buffer, at: int) -> int:
    """Read 16 bits, without a sign.

    >>> get_half(b"pi", 0) == MARK
    True
    """
    return int(buffer[at]) | int(buffer[at + 1]) << 8


def put_half(buffer, at: int, half: int) -> None:
    """Write the lowest 16 bits."""
    buffer[at] = half & 0xFF
    buffer[at + 1] = half >> 8 & 0xFF


def get_word(buffer, at: int) -> int:
    """Read a word of 31 bits; a longer one is limited, beyond every range.

    Scaling and overflow
    --------------------
    The highest byte is limited to -64 ... 63, so that the word stays within
    -2**30 ... 2**30 - 1. One that was longer is then 63 * 2**24 or more in size,
    and no word has a range that reaches so far; `tests/device/test_store.py`
    checks both.

    >>> get_word(bytes((254, 255, 255, 255)), 0), get_word(bytes((0, 0, 0, 128)), 0)
    (-2, -1073741824)
    """
    highest = (int(buffer[at + 3]) ^ 128) - 128
    highest = min(max(highest, -64), 63)
    return get_half(buffer, at) | int(buffer[at + 2]) << 16 | highest << 24


def put_word(buffer, at: int, word: int) -> None:
    """Write a word."""
    put_half(buffer, at, word)
    put_half(buffer, at + 2, word >> 16)


def get_words(buffer, words) -> None:
    """Read all words of a block into an array that has room for them."""
    for slot in range(get_half(buffer, COUNT_AT)):
        words[slot] = get_word(buffer, WORDS_AT + _WORD_BYTES * slot)


def put_words(buffer, words, count: int) -> None:
    """Write so many words and their number."""
    put_half(buffer, COUNT_AT, count)
    for slot in range(count):
        put_word(buffer, WORDS_AT + _WORD_BYTES * slot, words[slot])


def seal(buffer, halves) -> None:
    """Write the mark and, behind the words, the CRC-32.

    Parameters
    ----------
    buffer : bytearray
        All but mark and CRC is there.
    halves : array
        Two places for the CRC on its way.
    """
    put_half(buffer, 0, MARK)
    stop = block_bytes(get_half(buffer, COUNT_AT)) - CRC_BYTES
    halves[0] = halves[1] = _START
    crc32(halves, buffer, 0, stop)
    put_half(buffer, stop, ~halves[0])
    put_half(buffer, stop + 2, ~halves[1])


def is_whole(buffer, halves, got: int) -> bool:
    """Tell whether so many bytes hold a block that was written to its end.

    Parameters
    ----------
    buffer : bytearray
    halves : array
        Two places for the CRC on its way.
    got : int
        Bytes of the buffer that are the bank's; what stands behind them is older.
    """
    stop = block_bytes(get_half(buffer, COUNT_AT))
    if got < stop or get_half(buffer, 0) != MARK:
        return False
    halves[0] = halves[1] = _START
    crc32(halves, buffer, 0, stop)
    return bool(halves[0] == _RESIDUE_LOW and halves[1] == _RESIDUE_HIGH)
