"""Converter counts to pressure and supply: calibrate, watch, filter."""

from firmware_model.law.arith import amplify, carry, clamp, const, outside, watch

_PRESSURE_COUNTS = const(1)
_SUPPLY_COUNTS = const(2)
_FRESH = const(5)
_PRESSURE_TIMER = const(9)
_SUPPLY_TIMER = const(10)
_LOST_TIMER = const(11)
_PRESSURE = const(17)
_PRESSURE_REST = const(18)
_MOVEMENT = const(19)
_SUPPLY = const(20)
_SUPPLY_REST = const(21)
_PRESSURE_LOW = const(16)
_PRESSURE_HIGH = const(17)
_SENSOR_PATIENCE = const(18)
_PRESSURE_GAIN = const(19)
_PRESSURE_OFFSET = const(21)
_FILTER_GAIN = const(22)
_SUPPLY_LOW = const(24)
_SUPPLY_HIGH = const(25)
_SUPPLY_GAIN = const(26)
_SUPPLY_OFFSET = const(28)
_SUPPLY_FILTER_GAIN = const(29)
_SUPPLY_LOST = const(31)
_SIGNAL_LOW = const(-1250)
_PRESSURE_FAULT = const(2)
_SUPPLY_FAULT = const(4)
_LOST_FAULT = const(8)
_SIGNAL_HIGH = const(27_500)
_COUNTS_HIGH = const(32_767)


def read_pressure(state, params):
    """Calibrate and filter the pressure; a bad reading keeps the last one.

    ``reading = PRESSURE_OFFSET + counts * gain``, limited to a signal;
    ``PRESSURE += (reading - PRESSURE) * filter``, its rest carried.

    Scaling and overflow
    --------------------
    32 767 counts times 16 383 is below 2**29; to nearest.
    """
    reading = int(state[_PRESSURE_COUNTS])
    bad = int(outside(reading, int(params[_PRESSURE_LOW]), int(params[_PRESSURE_HIGH])))
    watch(state, _PRESSURE_TIMER, _PRESSURE_FAULT, int(params[_SENSOR_PATIENCE]), bad)
    if bad:
        state[_MOVEMENT] = 0
    else:
        reading = int(amplify(params, _PRESSURE_GAIN, reading))
        reading += int(params[_PRESSURE_OFFSET])
        filter_pressure(state, params, reading)


def filter_pressure(state, params, reading: int):
    """Follow the reading by its share; note how far the pressure moved.

    Scaling and overflow
    --------------------
    A difference of 28 750 times 16 383 plus the rest stays below 2**30.
    """
    reading = int(clamp(reading, _SIGNAL_LOW, _SIGNAL_HIGH))
    last = int(state[_PRESSURE])
    if int(state[_FRESH]):
        last = reading
    reading -= last
    reading = int(carry(state, _PRESSURE_REST, params, _FILTER_GAIN, reading))
    reading = int(clamp(last + reading, _SIGNAL_LOW, _SIGNAL_HIGH))
    state[_MOVEMENT] = reading - last
    state[_PRESSURE] = reading


def read_supply(state, params):
    """Calibrate and filter the supply; watch its sensor and its presence.

    Scaling and overflow
    --------------------
    32 767 counts times 16 383 is below 2**29; to nearest.
    """
    reading = int(state[_SUPPLY_COUNTS])
    bad = int(outside(reading, int(params[_SUPPLY_LOW]), int(params[_SUPPLY_HIGH])))
    watch(state, _SUPPLY_TIMER, _SUPPLY_FAULT, int(params[_SENSOR_PATIENCE]), bad)
    if not bad:
        reading = int(amplify(params, _SUPPLY_GAIN, reading))
        reading += int(params[_SUPPLY_OFFSET])
        filter_supply(state, params, reading)
    bad = 1 if int(state[_SUPPLY]) < int(params[_SUPPLY_LOST]) else 0
    watch(state, _LOST_TIMER, _LOST_FAULT, int(params[_SENSOR_PATIENCE]), bad)


def filter_supply(state, params, reading: int):
    """Follow the supply reading by its share.

    Scaling and overflow
    --------------------
    A difference of 32 767 times 16 383 plus rest and half unit stays below 2**30.
    """
    reading = int(clamp(reading, 0, _COUNTS_HIGH))
    last = int(state[_SUPPLY])
    if int(state[_FRESH]):
        last = reading
    reading -= last
    reading = int(carry(state, _SUPPLY_REST, params, _SUPPLY_FILTER_GAIN, reading))
    state[_SUPPLY] = clamp(last + reading, 0, _COUNTS_HIGH)
