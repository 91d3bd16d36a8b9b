"""An integer that is known by its bounds, and runs the law's own source.

Soundness: an `Interval` stands for one unknown integer between ``low`` and
``high``. For all integers within the operands' bounds, an operation's result
lies within the result's bounds (checked operator by operator against random
integers). A correlation that is lost only widens.

An undecided comparison forks the path (`interval_paths`): on each branch the
bounds of both operands are narrowed in place to what the branch asserts. That is
sound because an integer never changes: two names, or a name and an array word,
that hold the same object hold the same number; a new number is a new object.
What a path narrowed is undone when the path ends. A narrowed sum, difference or
negative narrows its own operands as well. A branch that leaves no integer is no
path.

Three things are exact where bounds alone would lose too much. A shift count
forks on each of its values. A right shift with few outcomes forks on each, so that
quotient and remainder stay together. A sum or difference of numbers that depend
on each other is bounded once more as a polynomial (`interval_form`).

Each operation fails unless its result stays within +-(2**30 - 1), its divisor
is positive, its shift count is 0 ... 29, and what it shifts left is not negative
(C leaves that undefined). Operators that are not here raise `TypeError`: what
the proof does not know, it refuses.
"""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from host_sim.prove.interval_paths import Paths

LIMIT = 2**30 - 1
MOST_SHIFT = 29
FEW_OUTCOMES = 32


class Interval:
    """One unknown integer within ``low ... high`` on the present path.

    Parameters
    ----------
    paths : Paths
        Decides comparisons, checks and records results.
    low, high : int
        Bounds, ``low <= high``.
    made : tuple
        Name of the operation and its operands; empty for an input.
    """

    __hash__ = None  # type: ignore[assignment]
    __slots__ = ("high", "low", "made", "paths")

    def __init__(
        self,
        paths: "Paths",
        low: int,
        high: int,
        made: "tuple[str, *tuple[Interval, ...]] | tuple[()]" = (),
    ) -> None:
        self.paths = paths
        self.low = low
        self.high = high
        self.made = made

    def __repr__(self) -> str:
        """Show the bounds."""
        return f"{self.low} ... {self.high}"

    @property
    def is_point(self) -> bool:
        """Whether only one integer is left."""
        return self.low == self.high

    def __index__(self) -> int:
        """Give the integer, when it is the only one."""
        if not self.is_point:
            self.paths.fail(f"{self} where one number is needed")
        return self.low

    def __add__(self, other: "Interval") -> "Interval":
        """Bound the sum."""
        low, high = self.low + other.low, self.high + other.high
        return self.paths.result(("add", self, other), low, high)

    def __sub__(self, other: "Interval") -> "Interval":
        """Bound the difference."""
        low, high = self.low - other.high, self.high - other.low
        return self.paths.result(("sub", self, other), low, high)

    def __neg__(self) -> "Interval":
        """Bound the negative."""
        return self.paths.result(("neg", self), -self.high, -self.low)

    def __mul__(self, other: "Interval") -> "Interval":
        """Bound the product by its four corners."""
        corners = [
            self.low * other.low,
            self.low * other.high,
            self.high * other.low,
            self.high * other.high,
        ]
        return self.paths.result(("mul", self, other), min(corners), max(corners))

    def __floordiv__(self, other: "Interval") -> "Interval":
        """Bound the floored quotient; the divisor must be positive."""
        if other.low <= 0:
            self.paths.fail(f"divisor {other}")
        low = min(self.low // other.low, self.low // other.high)
        high = max(self.high // other.low, self.high // other.high)
        return self.paths.result(("div", self, other), low, high)

    def __lshift__(self, count: "Interval") -> "Interval":
        """Shift left by each possible count, one path each."""
        bits = self._shift_count(count)
        if self.low < 0:
            self.paths.fail(f"{self} shifted left: undefined in C when negative")
        return self.paths.result(
            ("shl", self, count), self.low << bits, self.high << bits
        )

    def __rshift__(self, count: "Interval") -> "Interval":
        """Shift right, floored; few outcomes become one path each.

        Only for a number that was read or returned: narrowing what was just
        computed would tell nothing about anything else.
        """
        bits = self._shift_count(count)
        low, high = self.low >> bits, self.high >> bits
        kept = self.made[:1] in ((), ("join",))
        if kept and 1 <= high - low < FEW_OUTCOMES:
            low = high = low + self.paths.choose(high - low + 1)
            self.narrow(low << bits, ((low + 1) << bits) - 1)
        return self.paths.result(("shr", self, count), low, high)

    def _shift_count(self, count: "Interval") -> int:
        if count.low < 0 or count.high > MOST_SHIFT:
            self.paths.fail(f"shift count {count}")
        if not count.is_point:
            only = count.low + self.paths.choose(count.high - count.low + 1)
            count.narrow(only, only)
        return count.low

    def __and__(self, other: "Interval") -> "Interval":
        """Bound the common bits; exact where a mask cuts within one block."""
        for number, mask in ((self, other), (other, self)):
            if mask.is_point and _within_one_block(number, mask.low):
                low, high = number.low & mask.low, number.high & mask.low
                return self.paths.result(("and", self, other), low, high)
        low, high = _bits_around(self, other)
        if self.is_point and other.is_point:
            low = high = self.low & other.low
        elif self.low >= 0 or other.low >= 0:
            low = 0
            high = min(part.high for part in (self, other) if part.low >= 0)
        return self.paths.result(("and", self, other), low, high)

    def __or__(self, other: "Interval") -> "Interval":
        """Bound the joined bits."""
        low, high = _bits_around(self, other)
        if self.is_point and other.is_point:
            low = high = self.low | other.low
        elif self.low >= 0 and other.low >= 0:
            low = max(self.low, other.low)
        return self.paths.result(("or", self, other), low, high)

    def __lt__(self, other: "Interval") -> bool:
        """Decide, or fork."""
        return _not_above(self, other, 1)

    def __le__(self, other: "Interval") -> bool:
        """Decide, or fork."""
        return _not_above(self, other, 0)

    def __gt__(self, other: "Interval") -> bool:
        """Decide, or fork."""
        return _not_above(other, self, 1)

    def __ge__(self, other: "Interval") -> bool:
        """Decide, or fork."""
        return _not_above(other, self, 0)

    def __eq__(self, other: object) -> bool:
        """Decide, or fork."""
        if not isinstance(other, Interval):
            return NotImplemented
        if self is other or (self.is_point and other.is_point):
            return self.low == other.low
        low, high = max(self.low, other.low), min(self.high, other.high)
        if low > high:
            return False
        if self.paths.choose(2) == 0:
            self.narrow(low, high)
            other.narrow(low, high)
            return True
        for number, apart in ((self, other), (other, self)):
            if apart.is_point:
                number.narrow_away_from(apart.low)
        return False

    def __bool__(self) -> bool:
        """Decide whether it is not zero, or fork."""
        if self.low > 0 or self.high < 0:
            return True
        if self.is_point:
            return False
        if self.paths.choose(2) == 0:
            self.narrow_away_from(0)
            return True
        self.narrow(0, 0)
        return False

    def narrow_away_from(self, number: int) -> None:
        """Take one integer off an end; inside, it cannot be taken out."""
        self.narrow(self.low + (self.low == number), self.high - (self.high == number))

    def narrow(self, low: int, high: int) -> None:
        """Keep what lies within ``low ... high`` until the path ends."""
        low, high = max(low, self.low), min(high, self.high)
        if (low, high) == (self.low, self.high):
            return
        self.paths.note(self, low, high)
        if not self.made:
            return
        operation, *operands = self.made
        first, last = operands[0], operands[-1]
        if operation == "add":
            first.narrow(low - last.high, high - last.low)
            last.narrow(low - first.high, high - first.low)
        elif operation == "sub":
            first.narrow(low + last.low, high + last.high)
            last.narrow(first.low - high, first.high - low)
        elif operation == "neg":
            first.narrow(-high, -low)


def _within_one_block(number: Interval, mask: int) -> bool:
    """Tell whether a mask of ones cuts both bounds at one multiple."""
    block = mask + 1
    is_mask_of_ones = block > 0 and block & mask == 0
    return is_mask_of_ones and number.low // block == number.high // block


def _bits_around(one: Interval, other: Interval) -> tuple[int, int]:
    ends = (one.low, one.high, other.low, other.high)
    bits = max(end.bit_length() for end in ends)
    return -(1 << bits) if min(ends) < 0 else 0, (1 << bits) - 1


def _not_above(one: Interval, other: Interval, gap: int) -> bool:
    """Decide ``one + gap <= other``, or fork and narrow both."""
    if one is other:
        return gap == 0
    if one.high + gap <= other.low:
        return True
    if one.low + gap > other.high:
        return False
    if one.paths.choose(2) == 0:
        one.narrow(one.low, other.high - gap)
        other.narrow(one.low + gap, other.high)
        return True
    one.narrow(other.low - gap + 1, one.high)
    other.narrow(other.low, one.high + gap - 1)
    return False
