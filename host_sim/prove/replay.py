"""Replay recorded inputs through the law, the same script on every engine.

Reads a file of episodes (`host_sim.prove.episodes` writes it) and prints one
line for each: the CRC-32 over all state words of all its ticks, then the last
state. On MicroPython the heap is locked during each tick. Runs on CPython and
MicroPython; uses nothing else of `host_sim`.
"""

import binascii
import sys
from array import array

from firmware_model.law.tick import tick

try:
    from micropython import heap_lock, heap_unlock
except ImportError:

    def heap_lock():
        """Stand in for MicroPython's."""

    heap_unlock = heap_lock


def read_words(stream, count):
    """Read ``count`` 32-bit words, least significant byte first."""
    words = array("i", [0] * count)
    stream.readinto(words)
    return words


def replay(stream, step, report):
    """Run all episodes of a stream through ``step(state, params)``."""
    head = read_words(stream, 3)
    inputs = array("i", [0, 0, 0, 0, 0])
    while head[0]:
        params = read_words(stream, head[0])
        state = read_words(stream, head[1])
        crc = 0
        for _ in range(head[2]):
            stream.readinto(inputs)
            for slot in range(5):
                state[slot] = inputs[slot]
            heap_lock()
            try:
                step(state, params)
            finally:
                heap_unlock()
            crc = binascii.crc32(state, crc)
        report("%08x %s" % (crc, " ".join([str(word) for word in state])))
        head = read_words(stream, 3)


def leaking_tick(state, params):
    """Allocate, then tick: the negative control of the heap lock."""
    tick(state, params)
    state[-1] = len([state[-1]]) - 1


def main(path, law):
    """Replay a file with the law, or with the one that leaks."""
    with open(path, "rb") as stream:
        replay(stream, leaking_tick if law == "leaking" else tick, print)


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2])
