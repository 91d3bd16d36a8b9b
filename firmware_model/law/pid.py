"""Error, deadband, the PID terms and the integrator with its anti-windup."""

from firmware_model.law.arith import amplify, carry, clamp, const, interpolate, scale

_PRESSURE_TIMER = const(9)
_SETPOINT = const(15)
_PRESSURE = const(17)
_MOVEMENT = const(19)
_COMPENSATION = const(22)
_INSIDE = const(23)
_ERROR = const(24)
_PROPORTIONAL = const(25)
_WASHOUT = const(26)
_WASHOUT_REST = const(27)
_DERIVATIVE = const(28)
_FEEDFORWARD = const(29)
_INTEGRAL = const(30)
_INTEGRAL_REST = const(31)
_TRACK_REST = const(32)
_REQUEST = const(33)
_WANTED = const(34)
_ACTIVE = const(35)
_OUTPUT = const(36)
_HOLD_0 = const(53)
_DEADBAND = const(68)
_DEADBAND_HYSTERESIS = const(69)
_DWELL = const(70)
_P_GAIN = const(71)
_WEIGHT = const(73)
_D_GAIN = const(74)
_LEAK_GAIN = const(76)
_I_GAIN = const(78)
_TRACK_GAIN = const(80)
_CONDITIONAL = const(82)
_SIGNAL_HIGH = const(27_500)
_SPREAD = const(28_750)
_REQUEST_LIMIT = const(50_000)
_TERM = const(100_000)
_INTEGRAL_LIMIT = const(300_000)


def compare(state, params):
    """Take the error; inside the deadband it counts as zero.

    Enters at ``|e| <= DEADBAND``, leaves at ``|e| > DEADBAND +
    DEADBAND_HYSTERESIS``; outside, the deadband is taken off, so the terms never
    jump on the way in.

    Scaling and overflow
    --------------------
    Difference of two signals, at most 28 750; the widest band is 50 000.
    """
    error = int(state[_SETPOINT]) - int(state[_PRESSURE])
    band = int(params[_DEADBAND])
    if int(state[_INSIDE]):
        band += int(params[_DEADBAND_HYSTERESIS])
    if -band <= error <= band and band > 0:
        ticks = int(state[_INSIDE]) + 1
        state[_INSIDE] = clamp(ticks, 1, int(params[_DWELL]))
        error = 0
    else:
        state[_INSIDE] = 0
        band = int(params[_DEADBAND])
        error -= band if error > 0 else -band
    state[_ERROR] = error


def proportional(state, params):
    """Form the proportional term from the weighted set point.

    ``PROPORTIONAL = kp (ERROR - (1 - weight) SETPOINT)``.

    Scaling and overflow
    --------------------
    At most 28 750 times 16 383, to nearest; limited to four times full drive.
    """
    setpoint = int(state[_SETPOINT])
    shaped = int(scale(setpoint, int(params[_WEIGHT]), 12)) - setpoint
    shaped += int(state[_ERROR])
    shaped = int(clamp(shaped, -_SPREAD, _SPREAD))
    shaped = int(amplify(params, _P_GAIN, shaped))
    state[_PROPORTIONAL] = clamp(shaped, -_TERM, _TERM)


def derivative(state, params):
    """Form the derivative of the measurement, through a first-order lag.

    ``WASHOUT += MOVEMENT - leak * WASHOUT``, ``DERIVATIVE = -gain * WASHOUT``
    with ``leak = h/(tf + h)`` and ``gain = kd/(tf + h)`` (backward
    difference). After DWELL ticks inside the deadband the movement counts as
    none, so the term decays and the output comes to rest; a pressure that only
    crosses the deadband is still braked.

    Scaling and overflow
    --------------------
    28 750 times 16 383 plus the rest stays below 2**30; the rest is carried;
    the term to nearest, limited to four times full drive.
    """
    washout = int(state[_WASHOUT])
    washout -= int(carry(state, _WASHOUT_REST, params, _LEAK_GAIN, washout))
    if int(state[_INSIDE]) < int(params[_DWELL]):
        washout += int(state[_MOVEMENT])
    washout = int(clamp(washout, -_SPREAD, _SPREAD))
    state[_WASHOUT] = washout
    washout = int(amplify(params, _D_GAIN, washout))
    state[_DERIVATIVE] = clamp(-washout, -_TERM, _TERM)


def add_terms(state, params):
    """Look up the static feed-forward and add up the terms.

    Scaling and overflow
    --------------------
    At most 525 000; limited to twice full drive.
    """
    setpoint = int(clamp(int(state[_SETPOINT]), 0, _SIGNAL_HIGH))
    forward = int(interpolate(params, _HOLD_0, setpoint, 11))
    state[_FEEDFORWARD] = forward
    forward += int(state[_PROPORTIONAL])
    forward += int(state[_INTEGRAL])
    forward += int(state[_DERIVATIVE])
    state[_REQUEST] = clamp(forward, -_REQUEST_LIMIT, _REQUEST_LIMIT)


def integrate(state, params):
    """Update the integral for the next tick from this tick's real output.

    Automatic: ``INTEGRAL += ki ERROR + kt (u - v)`` with ``u`` the limited
    output and ``v`` the request; nothing moves inside the deadband or while the
    pressure sensor is under suspicion, for then the error is stale. Any other
    mode: the integral takes the value that makes the request equal to the
    output, so that automatic takes over without a bump.

    Scaling and overflow
    --------------------
    Each product at most 28 750 times 16 383 plus a rest of at most 2**28; their
    whole parts and the integral add up to less than 2**30. Rests are carried.
    """
    if int(state[_ACTIVE]):
        integral = int(equivalent(state)) - int(state[_PROPORTIONAL])
        integral -= int(state[_DERIVATIVE]) + int(state[_FEEDFORWARD])
        state[_INTEGRAL_REST] = 0
        state[_TRACK_REST] = 0
    elif int(state[_INSIDE]) or int(state[_PRESSURE_TIMER]):
        return
    else:
        integral = int(state[_INTEGRAL])
        integral += int(error_share(state, params))
        integral += int(excess_share(state, params))
    state[_INTEGRAL] = clamp(integral, -_INTEGRAL_LIMIT, _INTEGRAL_LIMIT)


def equivalent(state) -> int:
    """Request that the present output corresponds to, compensation undone.

    Scaling and overflow
    --------------------
    25 000 << 12 is below 2**27; the factor is at least one half. To nearest:
    exact while the factor is one.
    """
    output = int(state[_OUTPUT])
    factor = int(state[_COMPENSATION])
    if output > 0:
        return ((output << 12) + (factor >> 1)) // factor
    return output


def excess(state) -> int:
    """Output minus request: negative while a limit holds the output down.

    Scaling and overflow
    --------------------
    At most 100 000, limited to 28 750.
    """
    if int(state[_OUTPUT]) == int(state[_WANTED]):
        return 0
    over = int(equivalent(state)) - int(state[_REQUEST])
    return int(clamp(over, -_SPREAD, _SPREAD))


def error_share(state, params) -> int:
    """Whole part of ``ki ERROR``, or none while that would push outward.

    Scaling and overflow
    --------------------
    28 750 times 16 383 plus the rest stays below 2**30; the rest is carried.
    """
    error = int(state[_ERROR])
    if int(params[_CONDITIONAL]):
        over = int(excess(state))
        if (over < 0 < error) or (error < 0 < over):
            error = 0
    return int(carry(state, _INTEGRAL_REST, params, _I_GAIN, error))


def excess_share(state, params) -> int:
    """Whole part of ``kt (u - v)``: back-calculation.

    Scaling and overflow
    --------------------
    28 750 times 16 383 plus the rest stays below 2**30; the rest is carried.
    """
    over = int(excess(state))
    return int(carry(state, _TRACK_REST, params, _TRACK_GAIN, over))
