"""A pilot on MicroPython unix: standard input and output are its serial line.

Arguments: tick in microseconds, ``text`` or ``bytes`` for the frames, ``in_step`` or
``free`` for who runs the ticks. Parameters are kept in memory, for as long as the
process lives. Uses nothing else of `host_sim`.
"""

import select
import sys
import time

from firmware_model.device.clock import Clock
from firmware_model.device.device import Device
from firmware_model.device.link import Link, serve
from firmware_model.device.store import Store

LATE = 42


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


def serve_and_tick(link: Link, tick_us: int) -> None:
    """Answer requests, and run a tick whenever the clock says so."""
    source, sink = sys.stdin.buffer, sys.stdout.buffer
    now_us = time.ticks_us  # type: ignore[attr-defined]
    polled = select.poll()
    polled.register(source, select.POLLIN)
    clock = Clock(tick_us, now_us())
    while True:
        for _, events in polled.poll(1):
            if events & select.POLLIN:
                byte = source.read(1)
                if not byte:
                    return
                length = link.take(byte[0])
                if length:
                    sink.write(memoryview(link.writer.frame)[:length])
            else:
                return
        late = clock.take(now_us())
        if late >= 0:
            link.device.state[LATE] = late
            link.device.tick()


def main(tick_us: int, form: str, who: str) -> None:
    """Serve until the line ends."""
    link = Link(new_device(tick_us), form == "text", who == "in_step")
    if link.in_step:
        serve(link, sys.stdin.buffer, sys.stdout.buffer)
    else:
        serve_and_tick(link, tick_us)


if __name__ == "__main__":
    main(int(sys.argv[1]), sys.argv[2], sys.argv[3])
