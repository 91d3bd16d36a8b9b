"""The relay test on the invented press: a device and its relay in the law's place."""

from dataclasses import dataclass, field

from memory_banks import MemoryBanks

from firmware_model.device.device import Device
from firmware_model.device.relay import SWINGING, Relay
from firmware_model.device.relay_rules import NAME, RULES
from firmware_model.device.store import Store
from host_sim.device.device_block import device_block
from host_sim.device.supervised import SupervisedController
from host_sim.law.block import FULL
from host_sim.loop.loop import Loop
from host_sim.show.relay import RelayTrace

SETTLED_TICKS = 700
MOST_TICKS = 6_000


class TuningPilot(SupervisedController):
    """A device with its relay in the place of the law."""

    def __init__(self, scenario, **words):
        block = device_block(scenario)
        for name, word in words.items():
            block[name] = word
        super().__init__(block)
        self.device = Device(Store(MemoryBanks(), round(1e6 * scenario.law.tick_s)))
        assert self.device.change(list(enumerate(block.words))) == -1
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


@dataclass
class Trial:
    """A press and its device, with what was seen at every tick."""

    pilot: TuningPilot
    loop: Loop
    setpoints: list = field(default_factory=list)
    pressures: list = field(default_factory=list)
    outputs: list = field(default_factory=list)
    swinging: list = field(default_factory=list)

    @classmethod
    def of(cls, scenario, **words):
        """Put a device with some words of its own on a scenario's plant."""
        pilot = TuningPilot(scenario, **words)
        return cls(pilot, Loop.of(scenario, pilot))

    def tick(self, current_ma):
        """Run one tick and note it."""
        self.loop.step(current_ma)
        self.setpoints.append(self.pilot.setpoint)
        self.pressures.append(self.pilot.pressure)
        self.outputs.append(self.pilot.output)
        self.swinging.append(self.pilot.relay.state == SWINGING)

    def hold(self, current_ma, ticks):
        """Run on at one command current."""
        for _ in range(ticks):
            self.tick(current_ma)

    def swing(self, current_ma=12.0):
        """Settle, then let the relay run to its end."""
        self.hold(current_ma, SETTLED_TICKS)
        assert self.pilot.relay.start() == 0
        for _ in range(MOST_TICKS):
            self.tick(current_ma)
            if not self.swinging[-1]:
                break


def traced(scenario, rule):
    """Run a relay test, take its gains, step up, and give what a figure shows."""
    trial = Trial.of(scenario, RELAY_RULE=rule)
    trial.swing()
    trial.hold(12.0, 200)
    relay = trial.pilot.relay
    assert relay.accept() == 0
    accepted = len(trial.outputs)
    trial.hold(14.0, 900)
    seen = slice(SETTLED_TICKS - 100, None)
    ticks = trial.swinging[seen]
    top, bottom = relay.ultimate_gain()
    return RelayTrace(
        title=scenario.title,
        tick_s=scenario.law.tick_s,
        setpoint=trial.setpoints[seen],
        pressure=trial.pressures[seen],
        output=trial.outputs[seen],
        first=ticks.index(True),
        last=ticks.index(True) + sum(ticks),
        accepted=accepted - SETTLED_TICKS + 100,
        middle=relay.middle / FULL,
        size=trial.pilot.block["RELAY_SIZE"] / FULL,
        period_s=relay.period_q4() / 16 * scenario.law.tick_s,
        ultimate_gain=top / bottom,
        rule=RULES[rule][NAME],
    )
