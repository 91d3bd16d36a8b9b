"""Current to set point: decode, fault bands, cut-off, ramp."""

from firmware_model.law.arith import allowance, amplify, clamp, const, outside, watch

_CURRENT_COUNTS = const(0)
_FRESH = const(5)
_CURRENT_TIMER = const(8)
_CURRENT = const(12)
_TARGET = const(13)
_CUT = const(14)
_SETPOINT = const(15)
_RAMP_REST = const(16)
_PRESSURE = const(17)
_CURRENT_GAIN = const(0)
_CURRENT_OFFSET = const(2)
_CURRENT_LOW = const(3)
_CURRENT_HIGH = const(4)
_CURRENT_PATIENCE = const(5)
_RANGE_START = const(6)
_RANGE_GAIN = const(7)
_REVERSE = const(9)
_SETPOINT_LOW = const(10)
_SETPOINT_HIGH = const(11)
_CUTOFF = const(12)
_CUTOFF_HYSTERESIS = const(13)
_RAMP_UP = const(14)
_RAMP_DOWN = const(15)
_CURRENT_FAULT = const(1)
_FULL = const(25_000)


def read_current(state, params):
    """Turn counts into microamperes and watch the fault bands.

    ``CURRENT = CURRENT_OFFSET + counts * gain``, limited to 0 ... 25 mA.

    Scaling and overflow
    --------------------
    32 767 counts times 16 383 is below 2**29; to nearest.
    """
    current = int(amplify(params, _CURRENT_GAIN, int(state[_CURRENT_COUNTS])))
    current = int(clamp(current + int(params[_CURRENT_OFFSET]), 0, _FULL))
    state[_CURRENT] = current
    bad = int(outside(current, int(params[_CURRENT_LOW]), int(params[_CURRENT_HIGH])))
    watch(state, _CURRENT_TIMER, _CURRENT_FAULT, int(params[_CURRENT_PATIENCE]), bad)
    if not bad:
        decode(state, params)


def decode(state, params):
    """Turn a good current into the target; a bad one leaves the last target.

    ``TARGET = (CURRENT - RANGE_START) * gain``, from 100 % downward when the
    action is reverse, limited to the set-point range.

    Scaling and overflow
    --------------------
    25 000 times 16 383 is below 2**29; to nearest.
    """
    target = int(state[_CURRENT]) - int(params[_RANGE_START])
    target = int(amplify(params, _RANGE_GAIN, target))
    if int(params[_REVERSE]):
        target = _FULL - target
    low = int(params[_SETPOINT_LOW])
    target = int(clamp(target, low, int(params[_SETPOINT_HIGH])))
    state[_TARGET] = target
    cut_off(state, params, target)


def cut_off(state, params, target: int):
    """Switch the cut-off on below its edge, off again above the hysteresis.

    Scaling and overflow
    --------------------
    At most 52 500.
    """
    edge = int(params[_CUTOFF])
    if int(state[_CUT]):
        edge += int(params[_CUTOFF_HYSTERESIS])
    state[_CUT] = 1 if target < edge else 0


def ramp(state, params):
    """Move the set point toward the target at the ramp's rate.

    The first tick after a reset takes the present pressure as set point.

    Scaling and overflow
    --------------------
    Signals; one allowance is at most 28 750.
    """
    now = int(state[_SETPOINT])
    goal = int(state[_TARGET])
    if int(state[_FRESH]):
        now = int(state[_PRESSURE])
        goal = now
    if now < goal:
        step = int(allowance(state, _RAMP_REST, params, _RAMP_UP))
    else:
        step = int(allowance(state, _RAMP_REST, params, _RAMP_DOWN))
    state[_SETPOINT] = clamp(goal, now - step, now + step)
