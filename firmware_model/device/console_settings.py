"""The console's settings: every row of `adjust_table`, told and changed."""

from array import array

from firmware_model.device import adjust
from firmware_model.device.adjust_kinds import nearest
from firmware_model.device.adjust_table import CHOICE, KIND, UNIT, WORDS
from firmware_model.device.layout import DEVICE_PARAMETERS
from firmware_model.device.refusal import Refusal
from firmware_model.device.scpi_status import (
    ILLEGAL_VALUE,
    MISSING_PARAMETER,
    OUT_OF_RANGE,
    PARAMETER_NOT_ALLOWED,
)
from firmware_model.device.scpi_text import matches, number_text, read_number


def one(parameters: "list[str]") -> str:
    """Take the one parameter that a command has."""
    if not parameters or not parameters[0]:
        raise Refusal(MISSING_PARAMETER)
    if len(parameters) > 1:
        raise Refusal(PARAMETER_NOT_ALLOWED, parameters[1])
    return parameters[0]


def none(parameters: "list[str]") -> None:
    """Refuse parameters."""
    if parameters:
        raise Refusal(PARAMETER_NOT_ALLOWED, parameters[0])


def numeric(text: str, unit: str, number) -> None:
    """Read a number with its unit, or refuse it."""
    error = read_number(text, unit, number)
    if error:
        raise Refusal(error, text)


def in_words(number, words: int) -> int:
    """Turn a number into words, so many for one, to nearest."""
    digits, exponent = number
    return int(
        nearest(digits * words * 10 ** max(exponent, 0), 10 ** max(-exponent, 0))
    )


def whole(text: str, low: int, high: int) -> int:
    """Read a number within a range, rounded to a whole one as IEEE 488.2 does."""
    number = array("i", (0, 0))
    numeric(text, "", number)
    found = in_words(number, 1)
    if not low <= found <= high:
        raise Refusal(OUT_OF_RANGE, str(low) + " ... " + str(high))
    return found


def chosen(text: str, words) -> int:
    """Find a word's place among those that are allowed; 0 and 1 mean OFF and ON."""
    said = text.upper()
    for place, word in enumerate(words):
        if matches(said, word):
            return place
    if words == ("OFF", "ON") and said in ("0", "1"):
        return int(said)
    raise Refusal(ILLEGAL_VALUE, text + ": " + ", ".join(words))


def tell_setting(console, row, parameters: "list[str]") -> str:
    """Answer with a setting, or with its MINimum, MAXimum or DEFault."""
    number = array("i", (0, 0))
    if not parameters:
        adjust.get(console.device, row, number)
    elif not _named(console, row, one(parameters).upper(), number):
        raise Refusal(ILLEGAL_VALUE, parameters[0] + ": MINimum, MAXimum, DEFault")
    if row[KIND] == CHOICE:
        return str(row[WORDS][number[0]]).upper()
    return number_text(number)


def change_setting(console, row, parameters: "list[str]") -> None:
    """Change a setting to a number, a choice, or MINimum, MAXimum or DEFault."""
    number = array("i", (0, 0))
    text = one(parameters)
    if not _named(console, row, text.upper(), number):
        if row[KIND] == CHOICE:
            number[0] = chosen(text, row[WORDS])
        else:
            numeric(text, row[UNIT], number)
    error = adjust.put(console.device, row, number)
    if error:
        raise Refusal(error, range_text(console.device, row))


def range_text(device, row) -> str:
    """Say how far a setting goes."""
    low, high = array("i", (0, 0)), array("i", (0, 0))
    adjust.lowest(device, row, low)
    adjust.highest(device, row, high)
    unit = " " + row[UNIT] if row[UNIT] else ""
    return number_text(low) + " ... " + number_text(high) + unit


def _named(console, row, said: str, number) -> bool:
    """Fill in MINimum, MAXimum or DEFault; tell whether it was one of them."""
    if matches(said, "MINimum"):
        adjust.lowest(console.device, row, number)
    elif matches(said, "MAXimum"):
        adjust.highest(console.device, row, number)
    elif matches(said, "DEFault"):
        adjust.factory(console.device, row, number)
    else:
        return False
    return True


def parameter_word(text: str) -> int:
    """Read the number of a parameter's word."""
    return whole(text, 0, len(DEVICE_PARAMETERS) - 1)
