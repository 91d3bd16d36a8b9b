"""Frames on a serial line: what is sent, and a reader that garbage cannot confuse.

A message has the complement of its CRC-16/IBM-3740 behind it, high byte first: the
complement (both together are CRC-16/GENIBUS), because the CRC itself lets zeros through
that are added behind it. It goes in one of two forms. In bytes: by consistent overhead
byte stuffing, so that 00 stands between frames only; for lines that belong to the link
alone. In text: ``!``, then six bits a character from ``?`` to ``~``, and a line feed; a
third longer, for lines with a board's prompt below. A text frame that reaches the
prompt is a syntax error and nothing else, no byte of it interrupts or restarts a board,
and byte 3 goes on stopping the program, which is how tools get at a board whose program
holds the line.

Source of the stuffing: Cheshire and Baker, IEEE/ACM Transactions on Networking 7(2)
1999, 159-172, as quoted in catalogues; the paper was not opened.
"""

from firmware_model.device.crc import crc16
from firmware_model.law.arith import const

CRC_BYTES = const(2)
MOST_BYTES = const(280)
_CRC_START = const(65_535)
# What the register holds after any message and the complement of its CRC.
_RESIDUE = const(0x1D0F)
_FULL_BLOCK = const(255)
_LINE_END = const(10)
_MARK = const(33)
_FIRST_LETTER = const(63)


def seal(message, length: int) -> int:
    """Write the complement of the CRC behind a message; return the length of both.

    Scaling and overflow
    --------------------
    As `crc16`.
    """
    crc = int(crc16(_CRC_START, message, 0, length)) ^ _CRC_START
    message[length] = crc >> 8
    message[length + 1] = crc & 255
    return int(length + CRC_BYTES)


def stuff(message, length: int, out) -> int:
    """Write bytes without any 00 among them; return how many.

    Parameters
    ----------
    message : bytes-like
    length : int
    out : bytearray
        Room for one byte more, and another one every 254 bytes.

    Scaling and overflow
    --------------------
    Positions alone.

    >>> out = bytearray(6)
    >>> out[:stuff(bytes((0, 17, 0)), 3, out)].hex()
    '01021101'
    """
    block = 0
    at = 1
    for k in range(length):
        if message[k]:
            out[at] = message[k]
            at += 1
            if at - block < _FULL_BLOCK:
                continue
            if k + 1 == length:
                break
        out[block] = at - block
        block = at
        at += 1
    out[block] = at - block
    return at


def unstuff(raw, length: int) -> int:
    """Undo `stuff` in place; return the length, or -1 for what it never writes.

    Scaling and overflow
    --------------------
    Positions alone.

    >>> raw = bytearray((1, 2, 17, 1))
    >>> raw[:unstuff(raw, 4)].hex()
    '001100'
    """
    at = 0
    k = 0
    while k < length:
        stop = k + int(raw[k])
        if stop == k or stop > length:
            return -1
        ends_in_zero = raw[k] < _FULL_BLOCK and stop < length
        k += 1
        while k < stop:
            raw[at] = raw[k]
            at += 1
            k += 1
        if ends_in_zero:
            raw[at] = 0
            at += 1
    return at


def spell(message, length: int, out) -> int:
    """Write bytes as text with its mark; return the number of characters.

    Scaling and overflow
    --------------------
    At most 14 bits wait.

    >>> out = bytearray(9)
    >>> out[:spell(b"press", 5, out)].decode()
    '![FHd[vK'
    """
    out[0] = _MARK
    at = 1
    bits = 0
    waiting = 0
    for k in range(length):
        waiting = (waiting & 63) << 8 | int(message[k])
        bits += 8
        while bits >= 6:
            bits -= 6
            out[at] = _FIRST_LETTER + ((waiting >> bits) & 63)
            at += 1
    if bits:
        out[at] = _FIRST_LETTER + ((waiting << (6 - bits)) & 63)
        at += 1
    return at


def unspell(raw, length: int) -> int:
    """Undo `spell` in place; return the length, or -1 for what it never writes.

    Scaling and overflow
    --------------------
    At most 12 bits wait.

    >>> raw = bytearray(b"![FHd[vK")
    >>> bytes(raw[:unspell(raw, 8)])
    b'press'
    """
    if length == 0 or raw[0] != _MARK:
        return -1
    at = 0
    bits = 0
    waiting = 0
    for k in range(1, length):
        letter = int(raw[k]) - _FIRST_LETTER
        if letter < 0 or letter > 63:
            return -1
        waiting = waiting << 6 | letter
        bits += 6
        if bits >= 8:
            bits -= 8
            raw[at] = waiting >> bits
            at += 1
        waiting &= (1 << bits) - 1
    return -1 if waiting or bits == 6 else at


class FrameReader:
    """Takes bytes one by one; says when a whole and unchanged message is there.

    After garbage it is in step again at the next end of a frame; a frame that is
    longer than the buffer is dropped up to its end.

    Parameters
    ----------
    text : bool
        The form.

    Attributes
    ----------
    message : bytearray
        The message, until the next byte is taken.
    bad : int
        Frames dropped, up to 1 000 000.
    """

    def __init__(self, text: bool) -> None:
        self.text = text
        self.end = _LINE_END if text else 0
        self.message = bytearray(MOST_BYTES * 4 // 3 + 4 if text else MOST_BYTES + 4)
        self.got = 0
        self.bad = 0

    def take(self, byte: int) -> int:
        """Take a byte; return the length of a message without its CRC, else 0.

        Scaling and overflow
        --------------------
        Positions alone.
        """
        if byte != self.end:
            if self.got < len(self.message):
                self.message[self.got] = byte
            # One more than fits says that it was too long.
            self.got = min(self.got + 1, len(self.message) + 1)
            return 0
        length = self._open()
        if length == 0 and self.got:
            self.bad = min(self.bad + 1, 1_000_000)
        self.got = 0
        return length

    def _open(self) -> int:
        if self.got > len(self.message):
            return 0
        if self.text:
            length = unspell(self.message, self.got)
        else:
            length = unstuff(self.message, self.got)
        if length <= CRC_BYTES:
            return 0
        if int(crc16(_CRC_START, self.message, 0, length)) != _RESIDUE:
            return 0
        return int(length - CRC_BYTES)


class FrameWriter:
    """Puts messages into frames.

    Parameters
    ----------
    text : bool
        The form.

    Attributes
    ----------
    message : bytearray
        To be filled before `write`; there is room for the CRC behind it.
    frame : bytearray
    """

    def __init__(self, text: bool) -> None:
        self.text = text
        self.message = bytearray(MOST_BYTES)
        self.frame = bytearray(MOST_BYTES * 4 // 3 + 4 if text else MOST_BYTES + 4)

    def write(self, length: int) -> int:
        """Make the frame of a message of this length; return the frame's length.

        Scaling and overflow
        --------------------
        Positions alone.
        """
        length = seal(self.message, length)
        if self.text:
            length = spell(self.message, length, self.frame)
            self.frame[length] = _LINE_END
        else:
            length = stuff(self.message, length, self.frame)
            self.frame[length] = 0
        return length + 1
