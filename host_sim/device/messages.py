"""Frames on the computer's side, written apart from the board's `frames`.

Both forms are described there.
"""

import struct
from binascii import crc_hqx

from firmware_model.device.frames import MOST_BYTES

_CRC_START = 0xFFFF
_CRC_BYTES = 2
_FULL_BLOCK = 255
_LETTERS = bytes(range(63, 127))
_MOST_WAITING = 4 * MOST_BYTES


def stuff(message: bytes) -> bytes:
    """Stuff bytes so that no 00 is among them.

    >>> stuff(bytes((0x11, 0x22, 0, 0x33))).hex()
    '0311220233'
    """
    stuffed = bytearray()
    parts = message.split(b"\0")
    for number, part in enumerate(parts):
        while len(part) >= _FULL_BLOCK - 1:
            stuffed += b"\xff" + part[: _FULL_BLOCK - 1]
            part = part[_FULL_BLOCK - 1 :]  # noqa: PLW2901
            if not part and number == len(parts) - 1:
                return bytes(stuffed)
        stuffed += bytes((len(part) + 1,)) + part
    return bytes(stuffed)


def unstuff(raw: bytes) -> bytes | None:
    """Undo `stuff`; None for what it never writes."""
    message, k = bytearray(), 0
    while k < len(raw):
        stop = k + raw[k]
        if stop == k or stop > len(raw):
            return None
        message += raw[k + 1 : stop]
        if raw[k] < _FULL_BLOCK and stop < len(raw):
            message.append(0)
        k = stop
    return bytes(message)


def spell(message: bytes) -> bytes:
    """Write bytes as six-bit letters behind their mark.

    >>> spell(b"press")
    b'![FHd[vK'
    """
    size = -(-8 * len(message) // 6)
    number = int.from_bytes(message, "big") << (6 * size - 8 * len(message))
    sixes = (number >> 6 * k & 63 for k in reversed(range(size)))
    return b"!" + bytes(_LETTERS[six] for six in sixes)


def unspell(raw: bytes) -> bytes | None:
    """Undo `spell`; None for what it never writes."""
    if raw[:1] != b"!":
        return None
    number = 0
    for letter in raw[1:]:
        six = letter - _LETTERS[0]
        if not 0 <= six < len(_LETTERS):
            return None
        number = number << 6 | six
    bits = 6 * (len(raw) - 1)
    rest = bits % 8
    if rest == 6 or number & ((1 << rest) - 1):
        return None
    return (number >> rest).to_bytes(bits // 8, "big")


def to_frame(message: bytes, text: bool) -> bytes:
    """Put a message with its CRC into a frame.

    Parameters
    ----------
    message : bytes
    text : bool
        The form: text, or stuffed bytes.
    """
    crc = crc_hqx(message, _CRC_START) ^ _CRC_START
    sealed = message + crc.to_bytes(_CRC_BYTES, "big")
    return spell(sealed) + b"\n" if text else stuff(sealed) + b"\0"


def from_frame(raw: bytes, text: bool) -> bytes | None:
    """Take a message out of a frame without its end; None for a bad one."""
    sealed = unspell(raw.rstrip(b"\r")) if text else unstuff(raw)
    if sealed is None or len(sealed) <= _CRC_BYTES:
        return None
    message, crc = sealed[:-_CRC_BYTES], sealed[-_CRC_BYTES:]
    wanted = crc_hqx(message, _CRC_START) ^ _CRC_START
    return message if int.from_bytes(crc, "big") == wanted else None


class FrameSplitter:
    """Finds the frames in what comes, whatever pieces it comes in.

    Parameters
    ----------
    text : bool
        The form.

    Attributes
    ----------
    bad : int
        Frames that were none, or changed on the way.
    """

    def __init__(self, text: bool) -> None:
        self.text = text
        self.bad = 0
        self._waiting = b""
        self._end = b"\n" if text else b"\0"

    def take(self, raw: bytes) -> list[bytes]:
        """Take what came; return the messages that are whole now."""
        *frames, self._waiting = (self._waiting + raw).split(self._end)
        self._waiting = self._waiting[-_MOST_WAITING:]
        found = [from_frame(frame, self.text) for frame in frames if frame]
        self.bad += found.count(None)
        return [message for message in found if message is not None]


def pack_words(words: "list[int]") -> bytes:
    """Write words as the link does."""
    return struct.pack(f"<{len(words)}i", *words)


def unpack_words(raw: bytes) -> list[int]:
    """Read words as the link writes them."""
    return list(struct.unpack(f"<{len(raw) // 4}i", raw))
