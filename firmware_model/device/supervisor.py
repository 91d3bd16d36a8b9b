"""Around every tick: start-up, modes, faults, and what the lamp says.

`run` is what a board calls once a tick; its stages look like the law's. `guide` tells
the law who commands the output; the others find, hold and end faults. All faults stand
in `faults`, with how soon each is found and how it ends; how they are found stands in
`detect`, the words and their slots in `layout`.
"""

from firmware_model.device.block import put_word
from firmware_model.device.crc import crc16
from firmware_model.device.detect import (
    lasts,
    seen_by_law,
    seen_in_pressure,
    seen_in_time,
)
from firmware_model.law.arith import const
from firmware_model.law.tick import reset, tick

_SAFE_ACTION = const(87)
_START_TICKS = const(94)
_START_WISH = const(95)
_CLEAR_TICKS = const(96)
_LAMP_TICKS = const(104)
_PARAMETERS = const(113)
_MODE = const(3)
_FRESH = const(5)
_OUTPUT = const(36)
_LATE = const(42)
_WISH = const(43)
_CHANGING = const(44)
_CONFIRM = const(45)
_BLOCK_BAD = const(46)
_CONDITION = const(47)
_PRESENT = const(48)
_HELD = const(49)
_FIRST = const(50)
_START_TIMER = const(51)
_CLEAR_TIMER = const(52)
_CHECK_SLOT = const(58)
_CHECK = const(59)
_CHECK_WANTED = const(60)
_CHECK_BAD = const(61)
_LAMP = const(62)
_LAMP_TICK = const(63)
_WORDS = const(64)
_HOLD = const(2)
_SAFE = const(3)
_STARTING = const(0)
_RUNNING = const(1)
_STOPPED = const(2)
_RESUMING = const(3)
_CHANGED = const(2)
_CRC_START = const(65_535)
_SUPPLY_SENSOR = const(128)
_PARAMETERS_ARE_BAD = const(1_024)
_STOPPING = const(1_919)
_WAITING = const(1_632)

_BYTES = bytearray(4)


def start(state, params):
    """Begin with start-up: nothing known, valves at the safe output.

    Scaling and overflow
    --------------------
    Writes zeros.
    """
    for slot in range(_WORDS):
        state[slot] = 0
    reset(state)
    state[_WISH] = params[_START_WISH]
    take_parameters(state, params)


def run(state, params):
    """Do one tick: tell the law its mode, run it, find and hold faults, go on.

    Call it exactly once a sampling time, with the three counts and LATE written
    before, and DRIVE and LAMP read after.

    Scaling and overflow
    --------------------
    Every word within its range in `layout` before the tick is within it after.
    """
    guide(state, params)
    tick(state, params)
    find(state, params)
    check(state, params)
    hold_faults(state, params)
    change_condition(state, params)
    blink(state, params)
    finish(state, params)


def guide(state, params):
    """Tell the law its mode: the wish while running, else the safe output.

    While parameters change, the output is held; the law then finds the integral
    anew, so that new gains take over without a bump.

    Scaling and overflow
    --------------------
    Nothing is computed.
    """
    if int(state[_CONDITION]) == _RESUMING:
        begin(state, params)
    mode = int(state[_WISH])
    if int(state[_CONDITION]) != _RUNNING:
        mode = _SAFE
    elif int(state[_CHANGING]):
        mode = _HOLD
    state[_MODE] = mode


def find(state, params):
    """Note the faults that are seen now.

    Scaling and overflow
    --------------------
    Bits alone; timers in `detect`.
    """
    present = int(seen_by_law(state, params))
    present |= int(seen_in_pressure(state, params))
    present |= int(seen_in_time(state, params))
    if int(state[_BLOCK_BAD]) or int(state[_CHECK_BAD]):
        present |= _PARAMETERS_ARE_BAD
    state[_PRESENT] = present


def check(state, params):
    """Add one parameter a tick to a CRC-16; compare when all are in it.

    Scaling and overflow
    --------------------
    As `crc16`.
    """
    slot = int(state[_CHECK_SLOT])
    if int(state[_CHANGING]):
        slot = 0
    if slot == 0:
        state[_CHECK] = _CRC_START
    put_word(_BYTES, 0, int(params[slot]))
    state[_CHECK] = crc16(int(state[_CHECK]), _BYTES, 0, 4)
    slot += 1
    if slot >= _PARAMETERS:
        slot = 0
        bad = int(state[_CHECK]) != int(state[_CHECK_WANTED])
        state[_CHECK_BAD] = 1 if bad else 0
    state[_CHECK_SLOT] = slot


def take_parameters(state, params):
    """Note the CRC that all parameters must have from now on.

    Scaling and overflow
    --------------------
    As `crc16`.
    """
    crc = _CRC_START
    for slot in range(_PARAMETERS):
        put_word(_BYTES, 0, int(params[slot]))
        crc = int(crc16(crc, _BYTES, 0, 4))
    state[_CHECK_WANTED] = crc
    state[_CHECK_SLOT] = 0
    state[_CHECK_BAD] = 0


def hold_faults(state, params):
    """Keep a fault until its cause is gone long enough, or is confirmed as gone.

    Scaling and overflow
    --------------------
    Bits and a timer.
    """
    held = int(state[_HELD])
    present = int(state[_PRESENT])
    if held == 0:
        state[_FIRST] = lowest_bit(present)
    held |= present
    if int(clear(state, params, present)):
        held &= present | _WAITING
    if int(state[_CONFIRM]):
        held &= present | (_STOPPING - _WAITING)
    state[_CONFIRM] = 0
    if present & _SUPPLY_SENSOR == 0:
        held &= _STOPPING
    state[_HELD] = held


def clear(state, params, present: int) -> int:
    """Tell whether no stopping fault was seen for long enough.

    Scaling and overflow
    --------------------
    A timer.
    """
    good = 0 if present & _STOPPING else 1
    return int(lasts(state, _CLEAR_TIMER, int(params[_CLEAR_TICKS]), good))


def lowest_bit(bits: int) -> int:
    """Give the number of the lowest bit that is set, from 1; 0 without any.

    Scaling and overflow
    --------------------
    Nothing grows.

    >>> lowest_bit(12), lowest_bit(0)
    (3, 0)
    """
    number = 0
    while bits:
        number += 1
        if bits & 1:
            return number
        bits >>= 1
    return 0


def change_condition(state, params):
    """Go from start-up to running, into a fault, and back.

    Scaling and overflow
    --------------------
    A timer.
    """
    stopped = int(state[_HELD]) & _STOPPING
    if stopped:
        state[_CONDITION] = _STOPPED
    elif int(state[_CONDITION]) == _STOPPED:
        state[_CONDITION] = _RESUMING
    elif int(state[_CONDITION]) == _STARTING:
        good = 1 if int(state[_FRESH]) == 0 else 0
        if int(lasts(state, _START_TIMER, int(params[_START_TICKS]), good)):
            state[_CONDITION] = _RESUMING


def begin(state, params):
    """Hand the output back to the wish, from the present measurement.

    After venting the valves begin shut: what vented is no output to go on from.

    Scaling and overflow
    --------------------
    Writes zeros.
    """
    if int(params[_SAFE_ACTION]) == 0:
        state[_OUTPUT] = 0
    reset(state)
    state[_CONDITION] = _RUNNING


def blink(state, params):
    """Steady while running, dark in start-up, else as many blinks as the fault's row.

    Scaling and overflow
    --------------------
    At most 26 blinks of 1 000 ticks.
    """
    first = int(state[_FIRST])
    beats = first + first + 4
    at = int(state[_LAMP_TICK]) + 1
    length = int(params[_LAMP_TICKS])
    if at >= beats * length:
        at = 0
    state[_LAMP_TICK] = at
    beat = at // length
    if first == 0:
        state[_LAMP] = 1 if int(state[_CONDITION]) == _RUNNING else 0
    else:
        state[_LAMP] = 1 if beat < first + first and beat & 1 == 0 else 0


def finish(state, params):
    """Forget the inputs that count once; takes what every stage takes.

    Scaling and overflow
    --------------------
    Writes zeros.
    """
    state[_LATE] = 0
    if int(state[_CHANGING]) == _CHANGED:
        state[_CHANGING] = 0
