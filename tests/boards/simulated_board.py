"""A board's `machine`, simulated: pins are numbers. Runs on MicroPython.

`run` takes a board's main, its pin tuple, and whether a reading allocates; it
prints the timer, then one line a tick: drive, duties of the filling and of the
venting valve, lamp, weight of late ticks.
"""

import sys

DRIVE = 38
LATE_WEIGHT = 56
TICKS = 60

emergency_bytes = []
readings = {}
duties = {}
timers = []


class Pin:
    IN, OUT, PULL_UP = 0, 1, 2

    def __init__(self, name, mode=-1, pull=-1):
        self.name = name
        if mode == Pin.OUT:
            duties[name] = 0

    def value(self, level):
        duties[self.name] = level


class ADC:
    leaks = False

    def __init__(self, pin):
        self.name = pin.name

    def read_u16(self):
        if ADC.leaks:
            return [readings[self.name]][0]
        return readings[self.name]


class PWM:
    def __init__(self, pin, freq, duty_u16):
        self.name = pin.name
        duties[self.name] = duty_u16

    def duty_u16(self, duty):
        duties[self.name] = duty


class Timer:
    PERIODIC = 1

    def __init__(self, number):
        self.number = number

    def init(self, mode, period, callback, hard):
        timers.append((self.number, mode, period, callback, hard))


class WDT:
    def __init__(self, timeout):
        self.timeout = timeout

    def feed(self):
        raise SystemExit


def alloc_emergency_exception_buf(size):
    emergency_bytes.append(size)


def start(main):
    """Run a main of a board until its watchdog is fed; return its pilot."""
    import micropython

    # The computer's MicroPython has neither `machine` nor all of `micropython`.
    simulated = sys.modules["simulated_board"]
    simulated.const = micropython.const
    sys.modules["machine"] = sys.modules["micropython"] = simulated
    names = {}
    with open("firmware_model/boards/" + main + ".py") as source:
        try:  # noqa: SIM105 (no contextlib on a board)
            exec(source.read(), names)
        except SystemExit:
            pass
    return names["pilot"]


def run(main, family, leaking):
    """Run the main's callback with the heap locked."""
    from micropython import heap_lock, heap_unlock

    from firmware_model.boards import pins

    current, pressure, supply, fill, vent, lamp = getattr(pins, family)[:6]
    readings.update({current: 30_000, pressure: 10_000, supply: 32_768})
    pilot = start(main)
    ((number, mode, period, callback, hard),) = timers
    print(number, mode, period, hard, emergency_bytes)
    ADC.leaks = leaking
    clock_us = [0]
    sys.modules["firmware_model.boards.pilot"].ticks_us = lambda: clock_us[0]
    pilot.last_us = 0
    for tick in range(TICKS):
        clock_us[0] += 1_000 * period if tick % 20 else 1_600 * period
        readings[pressure] = 10_000 + 900 * tick
        heap_lock()
        try:
            callback(None)
        finally:
            heap_unlock()
        state = pilot.state
        print(
            state[DRIVE], duties[fill], duties[vent], duties[lamp], state[LATE_WEIGHT]
        )
    pilot.running = True
    callback(None)
    print(pilot.missed)
