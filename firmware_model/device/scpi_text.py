"""The syntax of the console's lines: headers, parameters, numbers with units."""

from array import array

from firmware_model.device.decimal import parse, write
from firmware_model.device.scpi_status import (
    INVALID_NUMBER,
    INVALID_SUFFIX,
    SUFFIX_NOT_ALLOWED,
)
from firmware_model.law.arith import const

MOST_MNEMONIC = const(12)
_DIGITS = "0123456789"

# What may stand behind a number, with the power of ten that it brings; the first one
# is the unit in which a setting is told.
SUFFIXES = {
    "PCT": (("PCT", 0),),
    "MA": (("MA", 0), ("UA", -3), ("A", 3)),
    "S": (("S", 0), ("MS", -3), ("US", -6)),
    "PCT/S": (("PCT/S", 0),),
    "/S": (("/S", 0),),
    "": (),
}


def short_form(mnemonic: str) -> str:
    """Take the short form, the capitals, out of a mnemonic.

    >>> short_form("PRESsure")
    'PRES'
    """
    return "".join([letter for letter in mnemonic if not "a" <= letter <= "z"])


def matches(said: str, mnemonic: str) -> bool:
    """Tell whether a word, in capitals, is a mnemonic's long or short form.

    >>> matches("PRES", "PRESsure"), matches("PRESS", "PRESsure")
    (True, False)
    """
    return said in (short_form(mnemonic), mnemonic.upper())


def without_suffix(said: str) -> "tuple[str, str]":
    """Take a numeric suffix off a mnemonic."""
    end = len(said)
    while end and said[end - 1] in _DIGITS:
        end -= 1
    return said[:end], said[end:]


def header_matches(nodes: "list[str]", header: str) -> bool:
    """Tell whether nodes, in capitals, are a header of a table."""
    wanted = header.split(":")
    if len(nodes) != len(wanted):
        return False
    for said, mnemonic in zip(nodes, wanted):  # noqa: B905 (no strict on a board)
        if not matches(said, mnemonic):
            return False
    return True


def split_units(line: str) -> "list[str]":
    """Split a message at its semicolons, those in quotes left alone."""
    return _split(line, ";")


def split_parameters(text: str) -> "list[str]":
    """Split parameters at their commas.

    >>> split_parameters(" 1 mA, 'a,b' ")
    ['1 mA', "'a,b'"]
    """
    text = text.strip()
    if not text:
        return []
    return [part.strip() for part in _split(text, ",")]


def _split(text: str, mark: str) -> "list[str]":
    parts, quote, start = [], "", 0
    for place, letter in enumerate(text):
        if quote:
            quote = "" if letter == quote else quote
        elif letter in "'\"":
            quote = letter
        elif letter == mark:
            parts.append(text[start:place])
            start = place + 1
    parts.append(text[start:])
    return parts


def read_number(text: str, unit: str, number) -> int:
    """Read a number with its unit.

    Parameters
    ----------
    text : str
    unit : str
        In which the number is wanted; other suffixes of the kind are converted.
    number : array
        Filled with digits and exponent.

    Returns
    -------
    int
        0, or the number of an error.

    >>> number = [0, 0]
    >>> read_number("250 ms", "S", number), number
    (0, [25, -2])
    """
    raw = text.encode()
    after = parse(raw, 0, len(raw), number)
    if after < 0:
        return int(INVALID_NUMBER)
    said = text[after:].strip().upper()
    if not said:
        return 0
    for suffix, power in SUFFIXES.get(unit, ()):
        if said == suffix:
            number[1] += power if number[0] else 0
            return 0
    if said[0] in _DIGITS + "+-.":
        return int(INVALID_NUMBER)
    return int(INVALID_SUFFIX if SUFFIXES.get(unit) else SUFFIX_NOT_ALLOWED)


def number_text(number) -> str:
    """Write a number as text.

    >>> number_text([-15, -1])
    '-1.5'
    """
    line = bytearray(48)
    return line[: write(number, line, 0)].decode()


def short_text(number, width: int) -> str:
    """Write a number in so many columns, rounded as far as it must be.

    >>> short_text([123_456_789, -12], 8)
    '0.000123'
    """
    digits, exponent = number
    text = number_text((digits, exponent))
    while len(text) > width and exponent < 0:
        digits, exponent = (digits + 5) // 10, exponent + 1
        text = number_text((digits, exponent))
    return text


def ratio_text(top: int, bottom: int, places: int) -> str:
    """Write a ratio with so many decimal places.

    >>> ratio_text(-12_345, 250, 2)
    '-49.38'
    """
    scale = 10**places
    rounded = (2 * abs(top) * scale + bottom) // (2 * bottom)
    number = array("i", [rounded if top >= 0 else -rounded, -places])
    return number_text(number)
