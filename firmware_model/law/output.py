"""Which output is wanted, and what limits and rate leave of it."""

from firmware_model.law.arith import allowance, clamp, const, scale

_MODE = const(3)
_DEMAND = const(4)
_FRESH = const(5)
_FAULTS = const(7)
_CUT = const(14)
_COMPENSATION = const(22)
_REQUEST = const(33)
_WANTED = const(34)
_ACTIVE = const(35)
_OUTPUT = const(36)
_RATE_REST = const(37)
_OUTPUT_LOW = const(83)
_OUTPUT_HIGH = const(84)
_RATE_UP = const(85)
_RATE_DOWN = const(86)
_SAFE_ACTION = const(87)
_SAFE_OUTPUT = const(88)
_AUTOMATIC = const(0)
_HOLD_LAST = const(1)
_MANUAL = const(1)
_FIXED = const(2)
_FAULT = const(3)
_START = const(4)
_SHUT = const(5)
_STOPPING_FAULTS = const(11)


def choose(state, params):
    """Decide who commands the output, and what is wanted.

    A fault comes first, and mode 3 is one that is asked for; then the start, then
    the mode, then the cut-off.

    Scaling and overflow
    --------------------
    Outputs; the wanted one is at most 200 000.
    """
    active = int(state[_MODE])
    if int(state[_FAULTS]) & _STOPPING_FAULTS:
        active = _FAULT
    elif int(state[_FRESH]) and active != _FAULT:
        active = _START
    elif active == _AUTOMATIC and int(state[_CUT]):
        active = _SHUT
    state[_ACTIVE] = active
    wanted = int(state[_OUTPUT])
    if active == _AUTOMATIC:
        wanted = int(corrected(state))
    elif active == _MANUAL:
        wanted = int(state[_DEMAND])
    elif active == _SHUT:
        wanted = int(params[_OUTPUT_LOW])
    elif active == _FAULT:
        wanted = int(safe(state, params))
    state[_WANTED] = wanted


def corrected(state) -> int:
    """Request times the supply compensation where it fills.

    Scaling and overflow
    --------------------
    50 000 times 16 384 is below 2**30 with half a unit to spare; to nearest.
    """
    request = int(state[_REQUEST])
    if request > 0:
        return int(scale(request, int(state[_COMPENSATION]), 12))
    return request


def safe(state, params) -> int:
    """Output in a fault: the lowest, the last, or a fixed one.

    Scaling and overflow
    --------------------
    Nothing is computed.
    """
    action = int(params[_SAFE_ACTION])
    if action == _HOLD_LAST:
        return int(state[_OUTPUT])
    if action == _FIXED:
        return int(params[_SAFE_OUTPUT])
    return int(params[_OUTPUT_LOW])


def bounded(state, params) -> int:
    """Limit the wanted output to the range of outputs.

    Scaling and overflow
    --------------------
    Nothing is computed.
    """
    low = int(params[_OUTPUT_LOW])
    return int(clamp(int(state[_WANTED]), low, int(params[_OUTPUT_HIGH])))


def limit(state, params):
    """Let the output move to the bounded goal no faster than the rates.

    A fault's output is taken at once. Outside manual the manual demand follows
    the output, so that manual takes over without a bump.

    Scaling and overflow
    --------------------
    Outputs; one allowance is at most 50 000.
    """
    goal = int(bounded(state, params))
    now = int(state[_OUTPUT])
    if int(state[_ACTIVE]) == _FAULT:
        now = goal
    if now < goal:
        step = int(allowance(state, _RATE_REST, params, _RATE_UP))
    else:
        step = int(allowance(state, _RATE_REST, params, _RATE_DOWN))
    now = int(clamp(goal, now - step, now + step))
    state[_OUTPUT] = now
    if int(state[_ACTIVE]) != _MANUAL:
        state[_DEMAND] = now
