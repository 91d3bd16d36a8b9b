"""A random walk of a supervised pilot, for CPython and MicroPython alike.

Prints one line an episode: the CRC-16 of all words of all ticks. The ticks run with
the heap locked where there is a lock.
"""

from array import array

from firmware_model.device.block import put_word
from firmware_model.device.crc import crc16
from firmware_model.device.layout import DEVICE_PARAMETERS, DEVICE_STATE
from firmware_model.device.supervisor import run, start, take_parameters

try:
    from micropython import heap_lock, heap_unlock
except ImportError:

    def heap_lock():
        """Lock nothing."""

    def heap_unlock():
        """Unlock nothing."""


INPUTS = [slot for slot, row in enumerate(DEVICE_STATE) if row[2].startswith("input:")]
WORD = bytearray(4)
SEED = array("i", [1])


def draw(below):
    """Draw an integer below a bound of at most 2**24, in 31 bits."""
    seed = SEED[0]
    seed = (seed * 16_807) % 65_521 + (seed >> 8 & 255)
    SEED[0] = seed
    high = seed & 4_095
    seed = (seed * 16_807 + 11) % 65_521
    SEED[0] = seed
    return ((high << 12) | (seed & 4_095)) % below


def draw_word(span):
    """Draw an end of a range, or a word within it."""
    kind = draw(4)
    if kind < 2:
        return span[kind]
    return span[0] + draw(min(span[1] - span[0] + 1, 2**24))


def drawn_params():
    """Draw a block; one word in five is not the fresh one."""
    params = array("i", [row[2] for row in DEVICE_PARAMETERS])
    for slot, row in enumerate(DEVICE_PARAMETERS):
        if draw(5) == 0:
            params[slot] = draw_word(row[1])
    return params


def digest(crc, state):
    """Carry a CRC-16 over all words."""
    for slot in range(len(state)):
        put_word(WORD, 0, state[slot])
        crc = crc16(crc, WORD, 0, 4)
    return crc


def walk(seed, ticks, leak=False):
    """Walk from start-up; return the CRC-16 of all that was, -1 if it allocated."""
    SEED[0] = seed
    params = drawn_params()
    state = array("i", [draw_word(row[1]) for row in DEVICE_STATE])
    start(state, params)
    crc = 0xFFFF
    rows = [(slot, DEVICE_STATE[slot][1]) for slot in INPUTS]
    kept = []
    for tick in range(ticks):
        for slot, span in rows:
            if slot < 3 or draw(20) == 0:
                state[slot] = draw_word(span)
        if tick % 97 == 96:
            take_parameters(state, params)
        heap_lock()
        try:
            run(state, params)
            if leak:
                kept.append([tick])
        except MemoryError:
            return -1
        finally:
            heap_unlock()
        crc = digest(crc, state)
    return crc


def main(seeds, ticks, leak=False):
    """Walk once for each seed and print."""
    for seed in seeds:
        print(seed, walk(seed, ticks, leak))
