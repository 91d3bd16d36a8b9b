"""A fingerprint of the layout: what may exchange words with what."""

import zlib

from firmware_model.law import layout


def layout_fingerprint() -> str:
    """Fold names and ranges of both tables into eight hexadecimal digits.

    Two laws with the same fingerprint have the same words at the same slots
    with the same ranges. CRC-32 of one line a word, ``name lowest highest``.

    Returns
    -------
    str

    >>> len(layout_fingerprint())
    8
    """
    spans = [(name, span) for name, span, _ in layout.STATE]
    spans += [(name, span) for name, span, _, _ in layout.PARAMETERS]
    lines = (f"{name} {low} {high}\n" for name, (low, high) in spans)
    return f"{zlib.crc32(''.join(lines).encode()):08x}"
