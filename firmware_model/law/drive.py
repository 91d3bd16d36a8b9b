"""Output to valves: a proportional drive with dither, or a pulsed pair."""

from firmware_model.law.arith import clamp, const

_ACTIVE = const(35)
_OUTPUT = const(36)
_DRIVE = const(38)
_PHASE = const(39)
_CHARGE = const(40)
_IDLE = const(41)
_OUTPUT_LOW = const(83)
_OUTPUT_HIGH = const(84)
_DRIVE_KIND = const(89)
_DITHER = const(90)
_DITHER_TICKS = const(91)
_PULSE_TICKS = const(92)
_DEAD_TICKS = const(93)
_FAULT = const(3)
_SHUT = const(5)
_FULL = const(25_000)
_PHASE_LIMIT = const(65_536)
_CHARGE_LIMIT = const(268_435_456)


def drive(state, params):
    """Give the valves this tick's drive.

    A fault or the cut-off voids what was owed to the other side.

    Scaling and overflow
    --------------------
    Outputs, limited to full drive; the charge far below 2**30.
    """
    if int(params[_DRIVE_KIND]) == 0:
        dither(state, params)
        return
    output = int(state[_OUTPUT])
    charge = int(state[_CHARGE]) + output
    if int(urgent(state)) and int(spent(charge, output)):
        charge = 0
    state[_CHARGE] = clamp(charge, -_CHARGE_LIMIT, _CHARGE_LIMIT)
    shut(state, params)
    if int(state[_DRIVE]) == 0:
        start(state, params)
    pulse(state)


def urgent(state) -> int:
    """Tell whether a fault or the cut-off commands the output.

    Scaling and overflow
    --------------------
    Nothing is computed.
    """
    if int(state[_ACTIVE]) == _FAULT:
        return 1
    return 1 if int(state[_ACTIVE]) == _SHUT else 0


def spent(valve: int, owed: int) -> int:
    """Tell whether a valve (by its sign) has nothing more to give.

    Scaling and overflow
    --------------------
    Nothing is computed.

    >>> spent(25_000, -3), spent(25_000, 3), spent(-25_000, 0), spent(0, 0)
    (1, 0, 1, 0)
    """
    if valve > 0:
        return 1 if owed <= 0 else 0
    if valve < 0:
        return 1 if owed >= 0 else 0
    return 0


def dither(state, params):
    """Add the swing to the output, never beyond the range of outputs.

    Not in a fault or the cut-off.

    Scaling and overflow
    --------------------
    At most 27 500 before the limit.
    """
    output = int(state[_OUTPUT])
    moved = int(swing(state, params))
    moved += output
    if int(urgent(state)) == 0:
        output = int(params[_OUTPUT_LOW])
        output = int(clamp(moved, output, int(params[_OUTPUT_HIGH])))
    state[_DRIVE] = output


def swing(state, params) -> int:
    """Step a square wave of the dither's amplitude and half period.

    Scaling and overflow
    --------------------
    Ticks below 2**16; the amplitude is at most 2 500.
    """
    half = int(params[_DITHER_TICKS])
    phase = int(state[_PHASE]) + 1
    if phase >= half + half:
        phase = 0
    state[_PHASE] = phase
    if phase >= half:
        return -int(params[_DITHER])
    return int(params[_DITHER])


def shut(state, params):
    """Shut the open valve once it has given what was owed.

    A fault or the cut-off shuts a valve that works against it at once.

    Scaling and overflow
    --------------------
    Nothing but comparisons.
    """
    valve = int(state[_DRIVE])
    ends = 0
    if int(state[_PHASE]) >= int(params[_PULSE_TICKS]):
        ends = int(spent(valve, int(state[_CHARGE])))
    if int(urgent(state)) and int(spent(valve, int(state[_OUTPUT]))):
        ends = 1
    if ends:
        dead = int(params[_DEAD_TICKS])
        state[_IDLE] = dead if valve > 0 else -dead
        state[_DRIVE] = 0


def start(state, params):
    """Open a valve once a shortest pulse is owed, or at once at full output.

    Right after one valve has shut, the other waits for its dead time.

    Scaling and overflow
    --------------------
    1 024 ticks times 25 000 is below 2**25.
    """
    owed = int(params[_PULSE_TICKS]) * _FULL
    charge = int(state[_CHARGE])
    if int(state[_OUTPUT]) >= _FULL or int(state[_OUTPUT]) <= -_FULL:
        owed = 1
    if charge >= owed and int(state[_IDLE]) >= 0:
        state[_DRIVE] = _FULL
        state[_PHASE] = 0
    elif -charge >= owed and int(state[_IDLE]) <= 0:
        state[_DRIVE] = -_FULL
        state[_PHASE] = 0


def pulse(state):
    """Count this tick: what the open valve gives, or a dead tick.

    Nothing is lost: what one pulse gives too much the next one lacks.

    Scaling and overflow
    --------------------
    The charge stays within its limit.
    """
    valve = int(state[_DRIVE])
    idle = int(state[_IDLE])
    if valve:
        state[_CHARGE] = clamp(
            int(state[_CHARGE]) - valve, -_CHARGE_LIMIT, _CHARGE_LIMIT
        )
        if int(state[_PHASE]) < _PHASE_LIMIT:
            state[_PHASE] = int(state[_PHASE]) + 1
    if idle > 0:
        state[_IDLE] = idle - 1
    elif idle < 0:
        state[_IDLE] = idle + 1
