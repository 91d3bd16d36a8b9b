"""Output to valves: a proportional drive with dither, or a pulsed pair."""

from firmware_model.law.arith import clamp, const

_OUTPUT = const(36)
_DRIVE = const(38)
_PHASE = const(39)
_CHARGE = const(40)
_IDLE = const(41)
_DRIVE_KIND = const(89)
_DITHER = const(90)
_DITHER_TICKS = const(91)
_PULSE_TICKS = const(92)
_DEAD_TICKS = const(93)
_FULL = const(25_000)
_PHASE_LIMIT = const(65_536)
_CHARGE_LIMIT = const(268_435_456)


def drive(state, params):
    """Give the valves this tick's drive.

    Scaling and overflow
    --------------------
    Outputs, limited to full drive.
    """
    if int(params[_DRIVE_KIND]):
        charge = int(state[_CHARGE]) + int(state[_OUTPUT])
        state[_CHARGE] = clamp(charge, -_CHARGE_LIMIT, _CHARGE_LIMIT)
        shut(state, params)
        if int(state[_DRIVE]) == 0:
            start(state, params)
        pulse(state)
    else:
        dither(state, params)


def dither(state, params):
    """Add a square wave of the dither's amplitude to the output.

    Scaling and overflow
    --------------------
    At most 27 500 before the limit.
    """
    half = int(params[_DITHER_TICKS])
    phase = int(state[_PHASE]) + 1
    if phase >= half + half:
        phase = 0
    state[_PHASE] = phase
    swing = int(params[_DITHER])
    if phase >= half:
        swing = -swing
    state[_DRIVE] = clamp(int(state[_OUTPUT]) + swing, -_FULL, _FULL)


def shut(state, params):
    """Shut the open valve once it has given what was owed.

    Scaling and overflow
    --------------------
    Nothing but comparisons.
    """
    valve = int(state[_DRIVE])
    charge = int(state[_CHARGE])
    if valve and int(state[_PHASE]) >= int(params[_PULSE_TICKS]):
        if valve > 0 and charge <= 0:
            state[_IDLE] = int(params[_DEAD_TICKS])
            state[_DRIVE] = 0
        elif valve < 0 and charge >= 0:
            state[_IDLE] = -int(params[_DEAD_TICKS])
            state[_DRIVE] = 0


def start(state, params):
    """Open a valve once a whole shortest pulse is owed.

    Right after one valve has shut, the other waits for its dead time.

    Scaling and overflow
    --------------------
    1 024 ticks times 25 000 is below 2**25.
    """
    charge = int(state[_CHARGE])
    owed = int(params[_PULSE_TICKS]) * _FULL
    idle = int(state[_IDLE])
    if charge >= owed and idle >= 0:
        state[_DRIVE] = _FULL
        state[_PHASE] = 0
    elif -charge >= owed and idle <= 0:
        state[_DRIVE] = -_FULL
        state[_PHASE] = 0


def pulse(state):
    """Count this tick: what the open valve gives, or a dead tick.

    Nothing is lost: what one pulse gives too much the next one lacks.

    Scaling and overflow
    --------------------
    The charge stays within its limit plus one full drive.
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
