"""One pilot on a board: a timer's callback ticks, the main loop serves the rest.

Not run on hardware here: type-checked against each board's stubs, and run on
simulated pins.

Cautions: fit a relief valve; isolate and vent before you touch the machine; a
board and its software are not a safety function; not for hazardous areas; local
codes come first.
"""

from select import POLLIN, poll
from sys import stdin, stdout
from time import ticks_diff, ticks_us

from machine import ADC, PWM, WDT, Pin, Timer
from micropython import alloc_emergency_exception_buf, const

from firmware_model.boards.pins import TICK_MS, VALVE_HZ
from firmware_model.device.banks_file import FileBanks
from firmware_model.device.console import Console
from firmware_model.device.device import Device
from firmware_model.device.link import Link
from firmware_model.device.menu import Menu
from firmware_model.device.port import Port
from firmware_model.device.relay import Relay
from firmware_model.device.store import Store

_CURRENT_COUNTS = const(0)
_PRESSURE_COUNTS = const(1)
_SUPPLY_COUNTS = const(2)
_TICKS = const(6)
_DRIVE = const(38)
_LATE = const(42)
_LAMP = const(62)
_LATE_LIMIT = const(1_000)
_WATCHDOG_MS = const(1_000)
_KEYS_US = const(20_000)
IDENTITY = "integer-pilot,pilot,0,0.1.0"
_PERIOD_US = 1_000 * TICK_MS


class Pilot:
    """Sensors, valves and a lamp, and the device between them.

    Attributes
    ----------
    device : Device
        With the parameters stored in the files ``pilot.0`` and ``pilot.1``. A board
        that has stored none keeps the safe output until some are saved.
    console, menu : Console, Menu
        On the serial line, which they share with the link, and on the keys.
    """

    def __init__(self, pins: "tuple[int | str, ...]") -> None:
        alloc_emergency_exception_buf(100)
        current, pressure, supply, fill, vent, lamp, less, more, set_ = pins
        self.current = ADC(Pin(current))
        self.pressure = ADC(Pin(pressure))
        self.supply = ADC(Pin(supply))
        self.fill = PWM(Pin(fill), freq=VALVE_HZ, duty_u16=0)
        self.vent = PWM(Pin(vent), freq=VALVE_HZ, duty_u16=0)
        self.lamp = Pin(lamp, Pin.OUT)
        self.device = Device(Store(FileBanks("pilot"), _PERIOD_US))
        self.state = self.device.state
        self.relay = Relay(self.device)
        write = stdout.buffer.write
        self.console = Console(self.device, write, IDENTITY, self.relay)
        link = Link(self.device, True, False)
        self.port = Port(link, self.console, write)
        self.polled = poll()
        self.polled.register(stdin, POLLIN)
        self.menu = Menu(self.device, self.relay)
        self.keys = [Pin(key, Pin.IN, Pin.PULL_UP) for key in (less, more, set_)]
        self.missed = 0
        self.running = False
        self.last_us = ticks_us()

    def start(self, timer: Timer, *, hard: bool) -> None:
        """Tick from now on.

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
        """Read, tick once, drive valves and lamp; allocate nothing.

        Scaling and overflow
        --------------------
        16-bit readings lose their last bit: 15-bit counts.
        """
        if self.running:
            self.missed = min(self.missed + 1, _LATE_LIMIT)
            return
        self.running = True
        self.count_late()
        self.state[_CURRENT_COUNTS] = self.current.read_u16() >> 1
        self.state[_PRESSURE_COUNTS] = self.pressure.read_u16() >> 1
        self.state[_SUPPLY_COUNTS] = self.supply.read_u16() >> 1
        self.relay.advance()
        self.device.tick()
        self.set_valves(int(self.state[_DRIVE]))
        self.lamp.value(int(self.state[_LAMP]))
        self.running = False

    def count_late(self) -> None:
        """Tell the device how many ticks were missed, or that this one is late.

        Scaling and overflow
        --------------------
        At most a thousand ticks.
        """
        now_us = ticks_us()
        late = 1 if 2 * ticks_diff(now_us, self.last_us) > 3 * _PERIOD_US else 0
        self.state[_LATE] = max(late, self.missed)
        self.missed = 0
        self.last_us = now_us

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

    def serve(self) -> None:
        """Serve the serial line, the keys and the watchdog; never returns.

        A device that no longer ticks resets the board, and a board in reset drives no
        valve.
        """
        watchdog = WDT(timeout=_WATCHDOG_MS)
        seen = -1
        keys_at_us = ticks_us()
        while True:
            if self.state[_TICKS] != seen:
                seen = int(self.state[_TICKS])
                watchdog.feed()
            self.serve_line()
            if ticks_diff(ticks_us(), keys_at_us) >= _KEYS_US:
                keys_at_us = ticks_us()
                self.serve_keys()

    def serve_line(self) -> None:
        """Take what has come on the serial line, and send what is streamed."""
        for _, events in self.polled.poll(0):
            if events & POLLIN:
                byte = stdin.buffer.read(1)
                if byte:
                    self.port.take(byte[0])
        self.console.serve()

    def serve_keys(self) -> None:
        """Look at the keys, which pull their pins down; show both lines."""
        levels = 0
        for place, key in enumerate(self.keys):
            if not key.value():
                levels |= 1 << place
        self.menu.serve(levels)
        self.show(*self.menu.screen.lines)

    def show(self, upper: bytearray, lower: bytearray) -> None:
        """Show two lines of sixteen characters; a board with a display replaces it."""
