"""A parameter block as the bytes that a board stores, with its names.

The bytes are described in `firmware_model.device.block`; the layout of the words
is the board's own.
"""

import math
import struct
import zlib
from collections.abc import Sequence
from dataclasses import dataclass

from firmware_model.device.block import CRC_BYTES, MARK, block_bytes
from firmware_model.device.store import LAYOUT, count_words, migrate
from host_sim.device.device_block import DeviceBlock
from host_sim.errors import InputError

_HEAD = "<4Hi"
_HEAD_BYTES = struct.calcsize(_HEAD)
_REMEDY = "pack it again, or fetch it again from the board"
_US_PER_S = 1_000_000
_SEQUENCES = 2**16
# What the conversion of a unit may have left.
_EXACT = 1e-12


@dataclass(frozen=True)
class StoredBlock:
    """What a stored block says.

    Attributes
    ----------
    block : DeviceBlock
        Brought to the newest layout, every word within its range.
    version : int
        The layout that it was stored in.
    sequence : int
        Which save of its board it is, 0 ... 65 535, wrapping.
    """

    block: DeviceBlock
    version: int
    sequence: int


def pack_block(block: DeviceBlock, sequence: int = 0) -> bytes:
    """Write a block as a board stores it.

    Parameters
    ----------
    block : DeviceBlock
    sequence : int
        0 for a board that has stored nothing yet; a board takes the newer of its
        two blocks.

    Returns
    -------
    bytes

    Raises
    ------
    InputError
        A tick that is no whole number of microseconds, a sequence of more than 16
        bits, or limits upside down.

    >>> raw = pack_block(DeviceBlock(tick_s=0.01))
    >>> len(raw), raw[:12].hex(" ")
    (468, '70 69 02 00 00 00 71 00 10 27 00 00')
    """
    block.check_order()
    if not 0 <= sequence < _SEQUENCES:
        raise InputError(f"sequence: {sequence} is outside 0 ... {_SEQUENCES - 1}")
    tick_us = round(block.tick_s * _US_PER_S)
    if not math.isclose(tick_us, block.tick_s * _US_PER_S, rel_tol=_EXACT):
        raise InputError(
            f"tick: {block.tick_s * _US_PER_S:.12g} us; a stored block counts whole "
            "microseconds, choose such a tick"
        )
    words = block.words
    head = struct.pack(_HEAD, MARK, LAYOUT[0], sequence, len(words), tick_us)
    raw = head + struct.pack(f"<{len(words)}i", *words)
    return raw + struct.pack("<I", zlib.crc32(raw))


def unpack_block(raw: bytes, where: str) -> StoredBlock:
    """Read a block that a board stored, in this layout or an older one.

    Parameters
    ----------
    raw : bytes
        What stands behind the block's CRC means nothing.
    where : str
        File or board, for the error.

    Returns
    -------
    StoredBlock

    Raises
    ------
    InputError
        No block, cut short, changed, of an unknown layout, or with an illegal word.

    >>> stored = unpack_block(pack_block(DeviceBlock(tick_s=0.01)), "a.block")
    >>> stored.block["P_GAIN"], stored.block.tick_s, stored.version
    (8192, 0.01, 2)
    """
    version, sequence, count, tick_us = _read_head(raw, where)
    words = list(struct.unpack_from(f"<{count}i", raw, _HEAD_BYTES))
    block = DeviceBlock(tick_us / _US_PER_S)
    try:
        _put_words(block, _newest(words, version))
    except InputError as error:
        raise InputError(f"{where}: {error}; correct it and pack it again") from None
    return StoredBlock(block, version, sequence)


def _read_head(raw: bytes, where: str) -> tuple[int, int, int, int]:
    """Check the bytes; return version, sequence, number of words, tick."""
    if len(raw) < _HEAD_BYTES:
        raise InputError(f"{where}: cut short at {len(raw)} bytes; {_REMEDY}")
    mark, version, sequence, count, tick_us = struct.unpack_from(_HEAD, raw)
    if mark != MARK:
        raise InputError(
            f"{where}: no parameter block, it begins with {mark:04x} and not "
            f"{MARK:04x}; name a file that was packed or fetched"
        )
    long = block_bytes(count)
    if len(raw) < long:
        raise InputError(
            f"{where}: cut short, {len(raw)} bytes of {long} are there; {_REMEDY}"
        )
    body, said = raw[: long - CRC_BYTES], raw[long - CRC_BYTES : long]
    if zlib.crc32(body) != int.from_bytes(said, "little"):
        raise InputError(f"{where}: changed, its CRC-32 is not right; {_REMEDY}")
    _check_layout(where, version, count)
    if tick_us <= 0:
        raise InputError(f"{where}: a tick of {tick_us} us, above 0 wanted; {_REMEDY}")
    return version, sequence, count, tick_us


def _check_layout(where: str, version: int, count: int) -> None:
    counts, _ = count_words(LAYOUT)
    if not 1 <= version <= len(counts):
        raise InputError(
            f"{where}: layout version {version}, known are 1 ... {len(counts)}; use "
            "the integer-pilot that the board's firmware came with"
        )
    if count != counts[version - 1]:
        raise InputError(
            f"{where}: {count} words, layout version {version} has "
            f"{counts[version - 1]}; use the integer-pilot that the board's firmware "
            "came with"
        )


def _newest(words: list[int], version: int) -> list[int]:
    _, rows, _, steps = LAYOUT
    _, most = count_words(LAYOUT)
    words += [0] * (most - len(words))
    migrate(words, version, steps)
    return words[: len(rows)]


def _put_words(block: DeviceBlock, words: Sequence[int]) -> None:
    _, rows, _, _ = LAYOUT
    for row, word in zip(rows, words, strict=True):
        block[row[0]] = word
    block.check_order()
