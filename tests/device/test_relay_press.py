"""The relay test on the invented press: real plant, noise, play; its gains tried."""

from array import array
from dataclasses import replace

import numpy as np
import pytest
from memory_banks import MemoryBanks

from firmware_model.device.device import Device
from firmware_model.device.relay import DONE, GIVEN_UP, SWINGING, Relay
from firmware_model.device.store import Store
from host_sim.device.device_block import device_block
from host_sim.device.supervised import SupervisedController
from host_sim.law.block import FULL
from host_sim.loop.loop import Loop
from host_sim.scenario.load import load_scenario, shipped_scenario_path

PRESS = load_scenario(shipped_scenario_path())
SETTLED_TICKS = 700


class TuningPilot(SupervisedController):
    """A device with its relay in the place of the law."""

    def __init__(self, scenario, **words):
        block = device_block(scenario)
        for name, word in words.items():
            block[name] = word
        super().__init__(block)
        self.device = Device(Store(MemoryBanks(), round(1e6 * scenario.law.tick_s)))
        edits = [(slot, word) for slot, word in enumerate(block.words)]
        assert self.device.change(edits) == -1
        self.device.save()
        self.device.restart()
        self.state = self.device.state
        self.relay = Relay(self.device)

    def tick(self, *readings):
        for slot, counts in enumerate(readings):
            self.state[slot] = round(counts)
        self.relay.advance()
        self.device.tick()
        return self.drive


def swung(scenario, current_ma=12.0, **words):
    """Settle a press and let its relay run to its end."""
    pilot = TuningPilot(scenario, **words)
    loop = Loop.of(scenario, pilot)
    for _ in range(SETTLED_TICKS):
        loop.step(current_ma)
    assert pilot.relay.start() == 0
    outputs, errors = [], []
    for _ in range(6_000):
        loop.step(current_ma)
        if pilot.relay.state != SWINGING:
            break
        outputs.append(pilot.output * FULL)
        errors.append(pilot.setpoint - pilot.pressure)
    return pilot, loop, np.array(outputs), np.array(errors)


@pytest.mark.parametrize("supply_falls", [False, True])
def test_relay_on_the_press_stays_within_its_limits(supply_falls):
    scenario = PRESS
    if supply_falls:
        plant = PRESS.plant
        supply = plant.arrangement.supply
        falling = replace(supply, changes=((8.0, 0.7 * supply.pressure_pa),))
        arrangement = replace(plant.arrangement, supply=falling)
        scenario = replace(PRESS, plant=replace(plant, arrangement=arrangement))
    pilot, _, outputs, errors = swung(scenario)
    relay = pilot.relay
    assert relay.state in (DONE, GIVEN_UP)
    assert supply_falls or relay.state == DONE
    size = pilot.block["RELAY_SIZE"]
    # The first outputs come from automatic's last tick and go at once to the relay's.
    assert np.abs(outputs[1:] - relay.middle).max() <= size
    assert np.abs(errors).max() <= pilot.block["RELAY_TRAVEL"] / FULL + 0.02


def test_relay_gains_settle_the_press():
    pilot, loop, _, _ = swung(PRESS, RELAY_RULE=3)
    params = array("i", pilot.device.params)
    assert pilot.relay.accept() == 0
    assert pilot.device.params != params
    pressures = []
    for current_ma in (12.0, 16.0, 8.0):
        for _ in range(900):
            loop.step(current_ma)
        pressures.append([pilot.pressure])
        for _ in range(100):
            loop.step(current_ma)
            pressures[-1].append(pilot.pressure)
    for wanted, found in zip((0.5, 0.75, 0.25), pressures, strict=True):
        assert np.abs(np.array(found) - wanted).max() < 0.02
