"""Linear plants for the relay: exact at every tick, reading counts as a board does."""

import numpy as np
from console_pilot import MemoryBanks
from scipy.signal import cont2discrete

from firmware_model.device.device import Device
from firmware_model.device.relay import Relay
from firmware_model.device.store import Store
from host_sim.device.device_block import DeviceBlock

TICK_US = 10_000
FULL = 25_000
CURRENT, PRESSURE, SUPPLY, OUTPUT = 0, 1, 2, 36
MIDDLE = 0.5
MIDDLE_COUNTS = 15_728


class LinearPlant:
    """``gain e^(-delay s) / denominator``, held input, from rest.

    The drive reaches it through as much play as `play` says.
    """

    def __init__(self, denominator, gain, delay, tick):
        order = len(denominator) - 1
        a = np.diag(np.ones(order - 1), 1) if order > 1 else np.zeros((1, 1))
        a = np.array(a, dtype=float)
        a[-1] = -np.array(denominator[::-1][:-1]) / denominator[0]
        b = np.zeros((order, 1))
        b[-1] = gain / denominator[0]
        c = np.eye(1, order)
        self.a, self.b, self.c, *_ = cont2discrete((a, b, c, np.zeros((1, 1))), tick)
        self.x = np.zeros((order, 1))
        self.late = [0.0] * round(delay / tick)
        self.play = self.slack = 0.0

    def step(self, drive):
        """Hold a drive for one tick; return the output at its end."""
        half = self.play / 2
        self.slack = min(max(self.slack, drive - half), drive + half)
        self.late.append(self.slack)
        self.x = self.a @ self.x + self.b * self.late.pop(0)
        return (self.c @ self.x).item()


class RelayBench:
    """A device with its relay on a plant around the middle of both ranges."""

    def __init__(self, plant, **words):
        self.plant = plant
        self.device = Device(Store(MemoryBanks(), TICK_US))
        self.device.save()
        self.device.restart()
        slots = DeviceBlock.slot
        fresh = {
            "P_GAIN": 0,
            "OUTPUT_LOW": 0,
            "APART_TICKS": 2**20,
            "STUCK_TICKS": 2**20,
            "RELAY_TICKS": 2**20,
        }
        edits = [(slots[name], word) for name, word in {**fresh, **words}.items()]
        assert self.device.change(edits) == -1
        self.relay = Relay(self.device)
        self.pressure = 0.0
        self.current_counts = MIDDLE_COUNTS
        self.drives, self.pressures = [], []

    def tick(self, noise=0.0):
        """Run one tick of relay, device and plant."""
        state = self.device.state
        state[CURRENT] = self.current_counts
        counts = round((MIDDLE + self.pressure + noise) * 32_767)
        state[PRESSURE] = min(max(counts, 0), 32_767)
        state[SUPPLY] = 16_384
        self.relay.advance()
        self.device.tick()
        drive = state[OUTPUT] / FULL - MIDDLE
        self.drives.append(drive)
        self.pressures.append(self.pressure)
        self.pressure = self.plant.step(drive)

    def run(self, ticks):
        """Run until the relay ends, or for so many ticks."""
        for _ in range(ticks):
            self.tick()
            if not self.relay.is_running() and self.relay.state > 1:
                break
        return self.relay

    def settle(self):
        """Start up with the plant at rest, output in the middle, automatic."""
        step, self.plant.step = self.plant.step, lambda drive: 0.0
        for k in range(80):
            if k == 70:
                self.device.wish(1)
            self.device.demand(FULL // 2)
            self.tick()
        self.device.wish(0)
        self.tick()
        self.plant.step = step
        self.drives.clear()
        self.pressures.clear()

    def swing(self, ticks=60_000):
        """Start up, start the relay, and run it to its end."""
        self.settle()
        assert self.relay.start() == 0
        return self.run(ticks)
