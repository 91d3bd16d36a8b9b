"""A pilot on MicroPython unix: standard input and output are its serial line.

Arguments: tick in microseconds, ``text`` or ``bytes`` for the frames, ``in_step`` or
``free`` for who runs the ticks. Parameters are kept in memory, for as long as the
process lives. Uses nothing else of `host_sim`.
"""

import select
import sys
import time

from firmware_model.device.clock import Clock
from firmware_model.device.console import Console
from firmware_model.device.device import Device
from firmware_model.device.link import Link, serve
from firmware_model.device.port import Port
from firmware_model.device.relay import Relay
from firmware_model.device.store import Store

LATE = 42
IDENTITY = "integer-pilot,MicroPython unix,0,0.1.0"


class MemoryBanks:
    """The store's two banks, gone with the process."""

    def __init__(self) -> None:
        self.banks = [b"", b""]

    def read(self, bank: int, buffer: bytearray) -> int:
        """Read a bank from its start; return how many bytes it gave."""
        raw = self.banks[bank]
        buffer[: len(raw)] = raw
        return len(raw)

    def write(self, bank: int, buffer: bytearray) -> None:
        """Make a bank hold these bytes."""
        self.banks[bank] = bytes(buffer)


def new_device(tick_us: int) -> Device:
    """Make a device that has stored the factory's parameters."""
    device = Device(Store(MemoryBanks(), tick_us))
    device.save()
    return device


def make_port(link: Link) -> Port:
    """Put a console on the line of a link in text."""
    write = sys.stdout.buffer.write
    console = Console(link.device, write, IDENTITY, Relay(link.device))
    return Port(link, console, write)


def serve_in_step(port: Port) -> None:
    """Serve frames and console lines; a frame runs the tick."""
    source = sys.stdin.buffer
    byte = source.read(1)
    while byte:
        port.take(byte[0])
        port.console.serve()
        byte = source.read(1)


def serve_and_tick(port: Port, tick_us: int) -> None:
    """Serve, and run a tick whenever the clock says so."""
    source, device = sys.stdin.buffer, port.link.device
    now_us = time.ticks_us  # type: ignore[attr-defined]
    polled = select.poll()
    polled.register(source, select.POLLIN)
    clock = Clock(tick_us, now_us())
    while True:
        for _, events in polled.poll(1):
            byte = source.read(1) if events & select.POLLIN else b""
            if not byte:
                return
            port.take(byte[0])
        late = clock.take(now_us())
        if late >= 0:
            device.state[LATE] = late
            port.console.relay.advance()
            device.tick()
            port.console.serve()


def main(tick_us: int, form: str, who: str) -> None:
    """Serve until the line ends."""
    link = Link(new_device(tick_us), form == "text", who == "in_step")
    if who != "in_step":
        serve_and_tick(make_port(link), tick_us)
    elif form == "text":
        serve_in_step(make_port(link))
    else:
        serve(link, sys.stdin.buffer, sys.stdout.buffer)


if __name__ == "__main__":
    main(int(sys.argv[1]), sys.argv[2], sys.argv[3])
