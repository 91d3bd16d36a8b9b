"""A relay test on a plant in whole numbers, for CPython and MicroPython alike."""

from memory_banks import MemoryBanks

from firmware_model.device.device import Device
from firmware_model.device.relay import Relay
from firmware_model.device.store import Store

try:
    from micropython import heap_lock, heap_unlock
except ImportError:

    def heap_lock():
        """Lock nothing."""

    def heap_unlock():
        """Unlock nothing."""


PRESSURE, OUTPUT, LINE = 1, 36, 12


def swing(ticks=4_000, leak=False, number=int):
    """Run a relay test, heap locked in every tick; return what came of it."""
    device = Device(Store(MemoryBanks(), 10_000))
    device.save()
    device.restart()
    device.change(((71, 0), (83, 0), (99, 2**20), (101, 2**20), (106, 5_000)))
    state = device.state
    relay = Relay(device)
    line = [number(0)] * LINE
    level = number(16_384 * 16)
    for k in range(ticks):
        state[0], state[1], state[2] = 15_728, level // 16, 16_384
        if k == 70:
            device.wish(1)
        if k <= 80:
            device.demand(12_500)
        if k == 81:
            device.wish(0)
        if k == 83 and relay.start():
            return "refused"
        heap_lock()
        try:
            relay.advance()
            device.tick()
            if leak:
                line.append([k])
        except MemoryError:
            return "MemoryError"
        finally:
            heap_unlock()
        if k > 83:
            # A lag of 32 ticks behind a dead time.
            at = k % LINE
            drive, line[at] = line[at], state[OUTPUT] - 12_500
            level += drive * 4 // 8 - (level - 16_384 * 16) // 32
        if k > 90 and not relay.is_running():
            break
    return relay.words(), k, relay.period_q4(), relay.size_sum, relay.propose()


def main(leak=False):
    """Print what came of it."""
    print(swing(leak=leak))
