"""One control tick, and the reset before the first one."""

from firmware_model.law.arith import const
from firmware_model.law.command import ramp, read_current
from firmware_model.law.drive import drive
from firmware_model.law.output import choose, limit
from firmware_model.law.pid import (
    add_terms,
    compare,
    derivative,
    integrate,
    proportional,
)
from firmware_model.law.sense import read_pressure, read_supply
from firmware_model.law.supply import compensate

_DEMAND = const(4)
_FRESH = const(5)
_TICKS = const(6)
_PRESSURE_TIMER = const(9)
_SUPPLY = const(20)
_COMPENSATION = const(22)
_OUTPUT = const(36)
_WORDS = const(42)
_TICKS_MASK = const(67_108_863)


def tick(state, params):
    """Run the law once: inputs in the state, drive out of the state.

    Call it exactly once a sampling time, with CURRENT_COUNTS, PRESSURE_COUNTS,
    SUPPLY_COUNTS and MODE written before and DRIVE read after.

    Scaling and overflow
    --------------------
    Every word within its range in `layout` before the tick is within it after.
    """
    read_current(state, params)
    read_pressure(state, params)
    read_supply(state, params)
    ramp(state, params)
    compensate(state, params)
    compare(state, params)
    proportional(state, params)
    derivative(state, params)
    add_terms(state, params)
    choose(state, params)
    limit(state, params)
    integrate(state, params)
    drive(state, params)
    if int(state[_PRESSURE_TIMER]) == 0:
        state[_FRESH] = 0
    state[_TICKS] = (int(state[_TICKS]) + 1) & _TICKS_MASK


def reset(state):
    """Forget everything but the inputs and the output.

    The next tick with a good pressure starts from it: no derivative spike, no
    old integral, no jump of the output. Until then the output stays.

    Scaling and overflow
    --------------------
    Writes zeros, the neutral factor and the reference supply.
    """
    output = int(state[_OUTPUT])
    for slot in range(_FRESH, _WORDS):
        state[slot] = 0
    state[_FRESH] = 1
    state[_OUTPUT] = output
    state[_DEMAND] = output
    state[_COMPENSATION] = 4_096
    state[_SUPPLY] = 16_384
