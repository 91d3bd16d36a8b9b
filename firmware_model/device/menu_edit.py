"""Editing with two keys and a step: smaller, larger, finer.

A number is edited in whole multiples of its finest step, kept within its ends; what
it begins with is rounded to such a multiple as soon as a key moves it.
"""

from array import array

from firmware_model.device.scpi_text import number_text, short_text
from firmware_model.law.arith import const

FINEST = const(-6)
COARSEST = const(4)
NUMBER_COLUMNS = const(9)


class NoItem:
    """What is edited before anything is."""

    label = ""
    words = ()

    def take(self, _number) -> str:
        """Refuse."""
        return "NOTHING THERE"


class Editor:
    """Edits one item at a time; nothing changes until `take`."""

    def __init__(self) -> None:
        self.item = NoItem()
        self.number = array("i", (0, 0))
        self.low = array("i", (0, 0))
        self.high = array("i", (0, 0))
        self.power = 0

    def begin(self, item) -> None:
        """Begin with what an item is now."""
        self.item = item
        item.read(self.number)
        if not item.words:
            item.ends(self.low, self.high)
            self.power = self._first_power()

    def _first_power(self) -> int:
        """Begin with a step of about a hundredth of the number, at least 1 for 0."""
        digits, power = abs(self.number[0]), self.number[1]
        if digits == 0:
            return 0
        # Numbers come without their trailing zeros.
        while digits < 100:
            digits *= 10
            power -= 1
        while digits >= 1_000:
            digits //= 10
            power += 1
        return int(min(max(power, FINEST), COARSEST))

    def refine(self) -> None:
        """Take a step ten times finer; after the finest comes the coarsest."""
        self.power = int(COARSEST) if self.power <= FINEST else self.power - 1

    def move(self, way: int) -> None:
        """Step by one, or to the next word."""
        words = self.item.words
        if words:
            self.number[0] = (self.number[0] + way) % len(words)
            return
        moved = _nearest(self.number) + way * 10 ** (self.power - FINEST)
        low = -_floor(-self.low[0], self.low[1])
        high = _floor(self.high[0], self.high[1])
        _put_units(max(low, min(high, moved)), self.number)

    def take(self) -> str:
        """Hand the number to the item; return why it was refused, or nothing."""
        return str(self.item.take(self.number))

    def text(self) -> str:
        """Write what is edited."""
        if self.item.words:
            return str(self.item.words[self.number[0]])
        return short_text(self.number, NUMBER_COLUMNS)

    def step_text(self) -> str:
        """Write the step; nothing for words."""
        if self.item.words:
            return ""
        return number_text(array("i", (1, self.power)))


def _nearest(number) -> int:
    """Round a number to multiples of the finest step."""
    return (_floor(2 * number[0], number[1]) + 1) // 2


def _floor(digits: int, exponent: int) -> int:
    """Round digits and exponent down to multiples of the finest step."""
    power = exponent - FINEST
    return int(digits * 10**power if power >= 0 else digits // 10**-power)


def _put_units(units: int, number) -> None:
    """Write multiples of the finest step as digits and exponent."""
    exponent = int(FINEST)
    while units and units % 10 == 0:
        units //= 10
        exponent += 1
    while abs(units) >= 2**30 - 1:
        units //= 10
        exponent += 1
    number[0] = units
    number[1] = exponent if units else 0
