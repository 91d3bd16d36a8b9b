"""Find the faults: those that the law saw, and those that only show over time.

Each function gives the bits of `faults.FAULTS` that it sees now.
"""

from firmware_model.law.arith import clamp, const

_CURRENT_LOW = const(3)
_CURRENT_HIGH = const(4)
_PRESSURE_LOW = const(16)
_PRESSURE_HIGH = const(17)
_RANGE_TICKS = const(97)
_STUCK_COUNTS = const(98)
_STUCK_TICKS = const(99)
_APART = const(100)
_APART_TICKS = const(101)
_LATE_LIMIT = const(102)
_LATE_TICKS = const(103)
_PRESSURE_COUNTS = const(1)
_FAULTS = const(7)
_CURRENT = const(12)
_SETPOINT = const(15)
_PRESSURE = const(17)
_ACTIVE = const(35)
_LATE = const(42)
_PRESENT = const(48)
_RANGE_TIMER = const(53)
_STUCK_TIMER = const(54)
_APART_TIMER = const(55)
_LATE_WEIGHT = const(56)
_REST_COUNTS = const(57)
_SHUT = const(5)
_SIGNAL_HIGH = const(27_500)
_LAW_CURRENT = const(1)
_LAW_SENSOR = const(2)
_LAW_SUPPLY_SENSOR = const(4)
_LAW_SUPPLY_LOST = const(8)
_CURRENT_IS_LOW = const(1)
_CURRENT_IS_HIGH = const(2)
_SENSOR_IS_OPEN = const(4)
_SENSOR_IS_SHORT = const(8)
_PRESSURE_IS_HIGH = const(16)
_SENSOR_IS_STUCK = const(32)
_OUTPUT_IS_STUCK = const(64)
_SUPPLY_SENSOR = const(128)
_SUPPLY_LOST = const(256)
_TICKS_ARE_LATE = const(512)


def seen_by_law(state, params) -> int:
    """Name the faults that the law itself has found.

    A reading that has come back keeps its name for as long as the law suspects it.

    Scaling and overflow
    --------------------
    Bits alone.
    """
    law = int(state[_FAULTS])
    seen = 0
    if law & _LAW_CURRENT:
        seen = int(state[_PRESENT]) & (_CURRENT_IS_LOW | _CURRENT_IS_HIGH)
        if int(state[_CURRENT]) >= int(params[_CURRENT_HIGH]):
            seen = _CURRENT_IS_HIGH
        elif int(state[_CURRENT]) <= int(params[_CURRENT_LOW]):
            seen = _CURRENT_IS_LOW
    if law & _LAW_SENSOR:
        seen |= int(broken_sensor(state, params))
    if law & _LAW_SUPPLY_SENSOR:
        seen |= _SUPPLY_SENSOR
    if law & _LAW_SUPPLY_LOST:
        seen |= _SUPPLY_LOST
    return seen


def broken_sensor(state, params) -> int:
    """Tell an open sensor from a short one.

    Scaling and overflow
    --------------------
    Bits alone.
    """
    counts = int(state[_PRESSURE_COUNTS])
    if counts >= int(params[_PRESSURE_HIGH]):
        return int(_SENSOR_IS_SHORT)
    if counts <= int(params[_PRESSURE_LOW]):
        return int(_SENSOR_IS_OPEN)
    open_or_short = _SENSOR_IS_OPEN | _SENSOR_IS_SHORT
    return int(state[_PRESENT]) & int(open_or_short)


def seen_in_pressure(state, params) -> int:
    """Find a pressure beyond its range, one that stands still, one that stays away.

    The lower end of the signal is no fault: an empty machine with a live zero rests
    there.

    Scaling and overflow
    --------------------
    At most 28 750, and timers.
    """
    bad = 1 if int(state[_PRESSURE]) >= _SIGNAL_HIGH else 0
    seen = 0
    if int(lasts(state, _RANGE_TIMER, int(params[_RANGE_TICKS]), bad)):
        seen = _PRESSURE_IS_HIGH
    bad = int(apart(state, params))
    if int(lasts(state, _APART_TIMER, int(params[_APART_TICKS]), bad)):
        seen |= _OUTPUT_IS_STUCK
    if bad and int(moved(state, params)):
        bad = 0
    if bad == 0:
        state[_REST_COUNTS] = state[_PRESSURE_COUNTS]
    if int(lasts(state, _STUCK_TIMER, int(params[_STUCK_TICKS]), bad)):
        seen |= _SENSOR_IS_STUCK
    return seen


def apart(state, params) -> int:
    """Tell whether the law commands and the pressure is not where it should be.

    Scaling and overflow
    --------------------
    A difference of signals is at most 28 750.
    """
    active = int(state[_ACTIVE])
    if active != 0 and active != _SHUT:  # noqa: PLR1714 (a tuple would allocate)
        return 0
    error = int(distance(int(state[_SETPOINT]), int(state[_PRESSURE])))
    return 1 if error > int(params[_APART]) else 0


def moved(state, params) -> int:
    """Tell whether the counts have left the place where they rested.

    Scaling and overflow
    --------------------
    A difference of counts is at most 32 767.
    """
    way = int(distance(int(state[_PRESSURE_COUNTS]), int(state[_REST_COUNTS])))
    return 1 if way > int(params[_STUCK_COUNTS]) else 0


def distance(one: int, other: int) -> int:
    """Give the size of a difference.

    Scaling and overflow
    --------------------
    Two words of at most 32 767.

    >>> distance(3, 7), distance(7, 3)
    (4, 4)
    """
    return one - other if one > other else other - one


def lasts(state, timer: int, ticks: int, bad: int) -> int:
    """Count bad ticks in a row; tell whether there are enough of them.

    Scaling and overflow
    --------------------
    At most the ticks, 2**20.
    """
    count = int(clamp(int(state[timer]) + 1, 0, ticks)) if bad else 0
    state[timer] = count
    return 1 if count >= ticks else 0


def seen_in_time(state, params) -> int:
    """Weigh late ticks against those that came on time.

    Scaling and overflow
    --------------------
    1 000 late ticks of weight 1 000, added to at most as much again.
    """
    worth = int(params[_LATE_TICKS])
    weight = int(state[_LATE_WEIGHT]) - 1
    if int(state[_LATE]):
        weight += 1 + worth * int(state[_LATE])
    worth *= int(params[_LATE_LIMIT])
    weight = int(clamp(weight, 0, worth))
    state[_LATE_WEIGHT] = weight
    return int(_TICKS_ARE_LATE) if weight >= worth else 0
