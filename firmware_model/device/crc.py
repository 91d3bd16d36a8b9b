"""CRCs in small integers: CRC-32 of stored blocks, CRC-16 of frames.

Parameter sets by their catalogue names, CRC-32/ISO-HDLC and CRC-16/IBM-3740.
Nothing here allocates on a board of 32 bits, so a tick may call it.
"""

from array import array

# What the register becomes when a nibble leaves it: EDB88320, in two halves.
# fmt: off
_LOW_HALF = array("H", (
    0x0000, 0x1064, 0x20C8, 0x30AC, 0x4190, 0x51F4, 0x6158, 0x713C,
    0x8320, 0x9344, 0xA3E8, 0xB38C, 0xC2B0, 0xD2D4, 0xE278, 0xF21C,
))
_HIGH_HALF = array("H", (
    0x0000, 0x1DB7, 0x3B6E, 0x26D9, 0x76DC, 0x6B6B, 0x4DB2, 0x5005,
    0xEDB8, 0xF00F, 0xD6D6, 0xCB61, 0x9B64, 0x86D3, 0xA00A, 0xBDBD,
))
# fmt: on


def crc16(crc: int, buffer, first: int, stop: int) -> int:
    """Carry a CRC-16 over the bytes ``first ... stop - 1``.

    Polynomial 1021, the highest bit first; begin with FFFF. Over a message and
    its CRC, high byte first, the result is zero.

    Scaling and overflow
    --------------------
    The register has 16 bits, what leaves it 8: no shift reaches 2**24.
    `tests/device/test_crc.py` checks every operation.

    >>> hex(crc16(0xFFFF, b"123456789", 0, 9))
    '0x29b1'
    """
    while first < stop:
        # Eight steps of the register at once: the byte that leaves it, folded.
        out = (crc >> 8) ^ int(buffer[first])
        out ^= out >> 4
        crc = (crc << 8) ^ (out << 12) ^ (out << 5) ^ out
        crc &= 0xFFFF
        first += 1
    return crc


def crc32(halves, buffer, first: int, stop: int):
    """Carry a CRC-32 over the bytes ``first ... stop - 1``.

    Polynomial 04C11DB7, reflected: the lowest bit first. Begin with FFFF in both
    halves; the CRC is their complement.

    Parameters
    ----------
    halves : array
        Low half, high half; a CRC-32 in one piece is no small integer on a board
        of 32 bits.
    buffer : bytes-like
    first, stop : int

    Scaling and overflow
    --------------------
    Each half stays below 2**16. `tests/device/test_crc.py` checks every operation.

    >>> halves = array("H", [0xFFFF, 0xFFFF])
    >>> crc32(halves, b"123456789", 0, 9)
    >>> hex(halves[1] ^ 0xFFFF), hex(halves[0] ^ 0xFFFF)
    ('0xcbf4', '0x3926')
    """
    low = int(halves[0])
    high = int(halves[1])
    # In nibbles from here on, the lower one of a byte first.
    first += first
    stop += stop
    while first < stop:
        nibble = int(buffer[first >> 1])
        if first & 1:
            nibble >>= 4
        nibble = (nibble ^ low) & 15
        low = (low >> 4) | (high & 15) << 12
        low ^= int(_LOW_HALF[nibble])
        high = (high >> 4) ^ int(_HIGH_HALF[nibble])
        first += 1
    halves[0] = low
    halves[1] = high
