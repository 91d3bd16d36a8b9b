"""One pilot on a board: a timer's callback runs the law, nothing else does.

Not run on hardware here: type-checked against each board's stubs, and run on
simulated pins.

Cautions: fit a relief valve; isolate and vent before you touch the machine; a
board and its software are not a safety function; not for hazardous areas; local
codes come first.
"""

from array import array
from time import ticks_diff, ticks_us

from machine import ADC, PWM, WDT, Pin, Timer
from micropython import alloc_emergency_exception_buf, const

from firmware_model.boards.pins import TICK_MS, VALVE_HZ
from firmware_model.law.layout import PARAMETERS, STATE
from firmware_model.law.tick import reset, tick

_CURRENT_COUNTS = const(0)
_PRESSURE_COUNTS = const(1)
_SUPPLY_COUNTS = const(2)
_TICKS = const(6)
_DRIVE = const(38)
_COUNT_LIMIT = const(1_000_000)
_WATCHDOG_MS = const(1_000)


class Pilot:
    """Sensors, valves, and the law between them.

    Attributes
    ----------
    state, params : array
        The law's words; write the parameters of your loop before `start`. The
        fresh block is a plain proportional controller.
    late : int
        Ticks that came while the last one still ran, or more than one and a half
        periods after it.
    """

    def __init__(self, pins: "tuple[int | str, ...]") -> None:
        alloc_emergency_exception_buf(100)
        current, pressure, supply, fill, vent = pins
        self.current = ADC(Pin(current))
        self.pressure = ADC(Pin(pressure))
        self.supply = ADC(Pin(supply))
        self.fill = PWM(Pin(fill), freq=VALVE_HZ, duty_u16=0)
        self.vent = PWM(Pin(vent), freq=VALVE_HZ, duty_u16=0)
        self.params = array("i", [row[2] for row in PARAMETERS])
        self.state = array("i", [0] * len(STATE))
        reset(self.state)
        self.late = 0
        self.running = False
        self.last_us = ticks_us()

    def start(self, timer: Timer, *, hard: bool) -> None:
        """Run the law at every tick from now on.

        Parameters
        ----------
        timer : Timer
        hard : bool
            In the interrupt itself, where the port can do that.
        """
        self.last_us = ticks_us()
        timer.init(
            mode=Timer.PERIODIC, period=TICK_MS, callback=self.on_timer, hard=hard
        )

    def on_timer(self, _timer: Timer) -> None:
        """Read, run the law once, drive the valves; allocate nothing.

        Scaling and overflow
        --------------------
        16-bit readings lose their last bit: 15-bit counts.
        """
        if self.running:
            self.count_late()
            return
        self.running = True
        now_us = ticks_us()
        if 2 * ticks_diff(now_us, self.last_us) > 3_000 * TICK_MS:
            self.count_late()
        self.last_us = now_us
        self.state[_CURRENT_COUNTS] = self.current.read_u16() >> 1
        self.state[_PRESSURE_COUNTS] = self.pressure.read_u16() >> 1
        self.state[_SUPPLY_COUNTS] = self.supply.read_u16() >> 1
        tick(self.state, self.params)
        self.set_valves(int(self.state[_DRIVE]))
        self.running = False

    def set_valves(self, drive: int) -> None:
        """Give a filling drive to one valve, a venting drive to the other.

        Scaling and overflow
        --------------------
        25 000 times 32 767 is below 2**30; full drive is a duty of 65 534.
        """
        duty = abs(drive) * 32_767 // 12_500
        if drive > 0:
            self.vent.duty_u16(0)
            self.fill.duty_u16(duty)
        else:
            self.fill.duty_u16(0)
            self.vent.duty_u16(duty)

    def count_late(self) -> None:
        """Count one late tick.

        Scaling and overflow
        --------------------
        Stops at a million.
        """
        if self.late < _COUNT_LIMIT:
            self.late += 1

    def guard(self) -> None:
        """Feed the watchdog for as long as ticks go on; never returns.

        A law that no longer ticks resets the board, and a board in reset drives no
        valve.
        """
        watchdog = WDT(timeout=_WATCHDOG_MS)
        seen = -1
        while True:
            if self.state[_TICKS] != seen:
                seen = int(self.state[_TICKS])
                watchdog.feed()
