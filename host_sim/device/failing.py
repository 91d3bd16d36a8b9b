"""Machines that fail on purpose: one cause for each fault of the table.

A cause stands between plant and device, where a broken wire, a stuck valve or a
clock would: it changes the counts that the device reads, the ticks that it is late,
or the drive that the valves get. Two causes are elsewhere: the supply goes by the
plant's own script, and the block changes in the device's memory.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from host_sim.device.device_block import DeviceBlock
from host_sim.device.supervised import SupervisedController
from host_sim.law.counts import whole
from host_sim.scenario.load import Scenario

COUNTS = 32_767
LOW_MA, HIGH_MA = 2.0, 22.5
STUCK_DRIVE = 0.02
"""Share of full drive at which a valve sticks: it still leaks a little."""
FLIPPED = "DITHER_TICKS"
"""A word that moves nothing while there is no dither."""

Readings = list[float]


@dataclass(frozen=True)
class Cause:
    """What goes wrong between plant and device.

    ``read`` changes the readings (current, pressure, supply counts) of a tick, given
    those of the tick at which it began; ``late`` is the ticks lost in each;
    ``drive`` replaces what the valves get, as a share of what they got at the start.
    """

    read: Callable[[Readings, Readings], None] | None = None
    late: int = 0
    drive: Callable[[float], float] | None = None
    supply_goes: bool = False
    flips: bool = False


def causes(scenario: Scenario) -> dict[str, Cause]:
    """Give the cause of each fault, by its label in the table.

    Parameters
    ----------
    scenario : Scenario
        For the converter of its command.

    >>> from host_sim.scenario.load import load_scenario, shipped_scenario_path
    >>> len(causes(load_scenario(shipped_scenario_path())))
    11
    """
    channel = scenario.current_channel

    def current(current_ma: float) -> Callable[[Readings, Readings], None]:
        span_ma = channel.high - channel.low
        return _reads(0, COUNTS * (current_ma - channel.low) / span_ma)

    return {
        "CURRENT LOW": Cause(read=current(LOW_MA)),
        "CURRENT HIGH": Cause(read=current(HIGH_MA)),
        "SENSOR OPEN": Cause(read=_reads(1, 0.0)),
        "SENSOR SHORT": Cause(read=_reads(1, float(COUNTS))),
        "PRESSURE HIGH": Cause(read=_reads(1, above_range(scenario))),
        "SENSOR STUCK": Cause(read=_stays),
        "OUTPUT STUCK": Cause(drive=lambda began: began + STUCK_DRIVE),
        "SUPPLY SENSOR": Cause(read=_reads(2, 0.0)),
        "SUPPLY LOST": Cause(supply_goes=True),
        "LATE TICKS": Cause(late=1),
        "PARAMETERS": Cause(flips=True),
    }


def _reads(place: int, counts: float) -> Callable[[Readings, Readings], None]:
    def read(now: Readings, _: Readings) -> None:
        now[place] = min(max(counts, 0.0), float(COUNTS))

    return read


def _stays(now: Readings, began: Readings) -> None:
    now[1] = began[1]


def above_range(scenario: Scenario) -> float:
    """Find the counts of a pressure well above 110 % of the range."""
    low_pa, high_pa = scenario.pressure_range_pa
    sensor = scenario.plant.sensing.pressure
    wanted_pa = low_pa + 1.12 * (high_pa - low_pa)
    return COUNTS * (wanted_pa - sensor.low) / (sensor.high - sensor.low)


class FailingPilot:
    """A law in whose way a cause stands from one tick to another.

    Parameters
    ----------
    law : SupervisedController
        Or a device's law with the same attributes.
    cause : Cause
    first, last : int
        The cause acts in ticks ``first ... last - 1``.
    """

    def __init__(
        self, law: SupervisedController, cause: Cause, first: int, last: int
    ) -> None:
        self.law = law
        self.cause = cause
        self.first, self.last = first, last
        self.done = 0
        self._began: Readings = []
        self._drive = 0.0

    def __getattr__(self, name: str) -> Any:  # noqa: ANN401
        """Show the law's own attributes."""
        return getattr(self.law, name)

    def tick(
        self, current_counts: float, pressure_counts: float, supply_counts: float
    ) -> float:
        """Run one tick; return what the valves get."""
        readings = [float(whole(current_counts)), pressure_counts, supply_counts]
        acts = self.first <= self.done < self.last
        if self.done == self.first:
            self._began = list(readings)
        if acts and self.cause.read is not None:
            self.cause.read(readings, self._began)
        if self.cause.flips and self.done in (self.first, self.last):
            self._flip()
        late = self.cause.late if acts else 0
        current, pressure, supply = readings
        drive = self.law.tick(current, pressure, supply, late)
        if self.done == self.first:
            self._drive = drive
        self.done += 1
        if acts and self.cause.drive is not None:
            return min(max(self.cause.drive(self._drive), -1.0), 1.0)
        return drive

    def _flip(self) -> None:
        self.law.block.words[DeviceBlock.slot[FLIPPED]] ^= 1


def without_supply(scenario: Scenario, first_s: float, last_s: float) -> Scenario:
    """Let a machine's supply go for a while, to the atmosphere."""
    plant = scenario.plant
    arrangement = plant.arrangement
    supply = arrangement.supply
    changes = (
        (first_s, arrangement.air.atmosphere_pa),
        (last_s, supply.pressure_pa),
    )
    failing = replace(arrangement, supply=replace(supply, changes=changes))
    return replace(scenario, plant=replace(plant, arrangement=failing))
