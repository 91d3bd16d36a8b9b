"""A pilot with a console, for CPython and MicroPython alike.

As a program it serves its standard input: argument 1 is the tick in milliseconds. The
counts are a pressure that follows the drive, so that readings move.
"""

import sys
from array import array

from firmware_model.device.console import Console
from firmware_model.device.device import Device
from firmware_model.device.relay import Relay
from firmware_model.device.store import Store

IDENTITY = "integer-pilot,test pilot,0,0.1.0"
CURRENT, PRESSURE, SUPPLY, DRIVE = 0, 1, 2, 38


class MemoryBanks:
    """Two banks that live as long as the program."""

    def __init__(self):
        self.contents = [b"", b""]

    def read(self, bank, buffer):
        raw = self.contents[bank]
        buffer[: len(raw)] = raw
        return len(raw)

    def write(self, bank, buffer):
        self.contents[bank] = bytes(buffer)


class ConsolePilot:
    """A device, its console, and the counts that they see."""

    def __init__(self, tick_us=10_000):
        self.device = Device(Store(MemoryBanks(), tick_us))
        self.device.save()
        self.device.restart()
        self.answers = []
        self.relay = Relay(self.device)
        self.console = Console(self.device, self.answers.append, IDENTITY, self.relay)
        self.device.state[CURRENT] = 15_728
        self.device.state[PRESSURE] = 8_192
        self.device.state[SUPPLY] = 16_384

    def tick(self, ticks=1):
        """Run ticks; the pressure follows the drive."""
        state = self.device.state
        for _ in range(ticks):
            moved = state[PRESSURE] + state[DRIVE] // 64
            state[PRESSURE] = min(max(moved, 300), 32_000)
            self.relay.advance()
            self.device.tick()
            self.console.serve()

    def say(self, line):
        """Send a line; return what was answered, without its newline."""
        self.answers.clear()
        for byte in line if isinstance(line, bytes) else line.encode():
            self.console.feed(byte)
        self.console.feed(10)
        return b"".join(self.answers).decode().rstrip("\n")

    def words(self):
        """What garbage must not change: parameters and the mode wished for."""
        return array("i", self.device.params), self.device.state[43]


def serve(tick_ms):
    """Serve standard input until it ends."""
    import select
    import time

    pilot = ConsolePilot(1_000 * tick_ms)
    source, sink = sys.stdin.buffer, sys.stdout.buffer
    pilot.console.send = sink.write
    polled = select.poll()
    polled.register(source, select.POLLIN)
    due_ms = time.ticks_ms()
    while True:
        for _, events in polled.poll(1):
            if not events & select.POLLIN:
                return
            byte = source.read(1)
            if not byte:
                return
            pilot.console.feed(byte[0])
        if time.ticks_diff(time.ticks_ms(), due_ms) >= 0:
            due_ms = time.ticks_add(due_ms, tick_ms)
            pilot.tick()


if __name__ == "__main__":
    serve(int(sys.argv[1]))
