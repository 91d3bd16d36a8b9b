"""Integer arithmetic that the stages share; every rounding is named here."""

try:
    from micropython import const
except ImportError:

    def const(number: int) -> int:
        """Stand in for MicroPython's folding; stages import it from here."""
        return number


_FAULTS = const(7)


def clamp(value: int, low: int, high: int) -> int:
    """Limit a value to ``low ... high``.

    Scaling and overflow
    --------------------
    Any formats; nothing is computed, so nothing can overflow.

    >>> clamp(7, 0, 5), clamp(-7, 0, 5), clamp(3, 0, 5)
    (5, 0, 3)
    """
    if value < low:
        return low
    if value > high:
        return high
    return value


def scale(value: int, gain: int, shift: int) -> int:
    """Multiply by ``gain / 2**shift``, to nearest, halves away from zero.

    Symmetric: ``scale(-x) == -scale(x)``, so a mirrored loop stays mirrored.

    Scaling and overflow
    --------------------
    |value| <= 32 767 with a 14-bit gain, or |value * gain| < 2**29.58 in
    general: the product plus half a unit (at most 2**28) stays below 2**30.
    Proved on the whole law by ``tests/prove/test_proof.py``.

    >>> scale(3, 1, 1), scale(-3, 1, 1), scale(100, 3, 2)
    (2, -2, 75)
    """
    half = 1 << (shift - 1)
    if value < 0:
        return -((half - value * gain) >> shift)
    return (value * gain + half) >> shift


def amplify(params, gain: int, value: int) -> int:
    """Multiply by the gain whose mantissa and shift stand at ``gain``.

    Scaling and overflow
    --------------------
    As ``scale``.

    >>> from array import array
    >>> amplify(array("i", [3, 1]), 0, 100)
    150
    """
    return int(scale(value, int(params[gain]), int(params[gain + 1])))


def carry(state, slot: int, params, gain: int, value: int) -> int:
    """Whole part of a gain times a value; the rest waits in its slot.

    ``whole + rest' / 2**shift = value * gain + rest / 2**shift``: nothing is
    lost, and the smallest value counts in the end at its exact rate. To
    nearest, halves away from zero, so a mirrored loop stays mirrored.

    Scaling and overflow
    --------------------
    |value| <= 32 767 times 16 383, plus a rest and a half unit of at most 2**28
    each, stays below 2**30. A rest of more than half a unit comes from an
    older, larger shift and is dropped: it is worth less than one half.

    >>> from array import array
    >>> rest = array("i", [0])
    >>> [carry(rest, 0, array("i", [1, 2]), 0, -1) for _ in range(8)]
    [0, -1, 0, 0, 0, -1, 0, 0]
    """
    shift = int(params[gain + 1])
    half = 1 << (shift - 1)
    value *= int(params[gain])
    if -half <= int(state[slot]) <= half:
        value += int(state[slot])
    if value < 0:
        value = half - value
        state[slot] = half - (value & (half + half - 1))
        return -(value >> shift)
    value += half
    state[slot] = (value & (half + half - 1)) - half
    return value >> shift


def allowance(state, slot: int, params, rate: int) -> int:
    """Whole steps that a rate allows in this tick; the rest waits.

    Scaling and overflow
    --------------------
    A rate in q14 a tick, at most 50 000 << 14; rest below 2**14. Floor; the
    rest is carried, so the average rate is exact.

    >>> from array import array
    >>> rest = array("i", [0])
    >>> [allowance(rest, 0, array("i", [3 << 13]), 0) for _ in range(4)]
    [1, 2, 1, 2]
    """
    total = int(params[rate]) + int(state[slot])
    state[slot] = total & 16_383
    return total >> 14


def interpolate(params, first: int, position: int, bits: int) -> int:
    """Read a table of parameters between its points, to nearest.

    Points are ``2**bits`` apart; ``first`` is the slot of the point at zero.

    Scaling and overflow
    --------------------
    ``position`` from 0 to the last point. |difference| <= 50 000 times at most
    2**11 stays below 2**27.

    >>> from array import array
    >>> interpolate(array("i", [0, 100, 50]), 0, 1536, 10)
    75
    """
    first += position >> bits
    position &= (1 << bits) - 1
    low = int(params[first])
    if position == 0:
        return low
    step = int(params[first + 1]) - low
    step = int(scale(step, position, bits))
    return low + step


def outside(value: int, low: int, high: int) -> int:
    """One if the value lies at or beyond a limit, else zero.

    Scaling and overflow
    --------------------
    Nothing is computed.

    >>> outside(3, 3, 9), outside(4, 3, 9), outside(9, 3, 9)
    (1, 0, 1)
    """
    return 1 if value <= low or value >= high else 0


def watch(state, timer: int, bit: int, patience: int, bad: int):
    """Count a suspicion up or down; set or clear its fault bit at the ends.

    Scaling and overflow
    --------------------
    Ticks, 0 ... 2**20. A reading that is bad more often than good becomes a
    fault in the end; a fault clears only after as many good ticks as it had
    counted bad ones.
    """
    count = int(state[timer])
    if bad:
        if count < patience:
            count += 1
        if count >= patience:
            state[_FAULTS] = int(state[_FAULTS]) | bit
    else:
        if count > 0:
            count -= 1
        if count == 0:
            state[_FAULTS] = int(state[_FAULTS]) & (15 - bit)
    state[timer] = count
