"""The rig that is all simulation: the scenario's plant under any law."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Protocol, runtime_checkable

from host_sim.accept.rig import Sample
from host_sim.law.controller import Controller
from host_sim.law.quantise import quantise
from host_sim.loop.loop import Loop
from host_sim.loop.record import Law
from host_sim.measure.static_table import StaticRange
from host_sim.plant import layout
from host_sim.scenario.load import Scenario


@runtime_checkable
class Restartable(Protocol):
    """A law that can be started warm."""

    def reset(self) -> None:
        """Start again from the next measurement."""


@dataclass
class Unpowered:
    """What stands in for a law without power: no drive, no faults."""

    target: float = 0.0
    setpoint: float = 0.0
    pressure: float = 0.0
    compensation: float = 0.0
    error: float = 0.0
    proportional: float = 0.0
    integral: float = 0.0
    derivative: float = 0.0
    feedforward: float = 0.0
    request: float = 0.0
    output: float = 0.0
    drive: float = 0.0
    faults: tuple[str, ...] = ()

    def tick(
        self,
        current_counts: float,
        pressure_counts: float,
        supply_counts: float,
    ) -> float:
        """Give no drive."""
        return 0.0


class ModelRig:
    """A scenario's plant and converters, driven tick by tick.

    The scenario's command, and its scripted changes of supply and consumption
    after 0 s, are left out: the sequences make their own.

    Parameters
    ----------
    scenario : Scenario
    make_law : callable, optional
        Makes a law as after power-up; the scenario's integer law unless given.
    """

    def __init__(
        self, scenario: Scenario, make_law: Callable[[], Law] | None = None
    ) -> None:
        still = _without_scripts(scenario)
        self._make_law = make_law or (lambda: Controller(quantise(scenario.law)))
        self._loop = Loop.of(still, self._make_law())
        inputs = self._loop.plant.body.inputs
        self._own_flow_kg_s = inputs[layout.CONSUMPTION]

    @property
    def tick_s(self) -> float:
        """Length of a tick [s]."""
        return self._loop.plant.tick_s

    @property
    def supply_set_pa(self) -> float:
        """Supply pressure as set, absolute [Pa]."""
        return float(self._loop.plant.body.inputs[layout.SOURCE_PA])

    def tick(self, current_ma: float) -> Sample:
        """Hold a current for one tick; show what stood at its start."""
        plant, law = self._loop.plant, self._loop.law
        pressures, used_kg = plant.pressures_pa(), plant.air_used_kg
        drive = self._loop.step(current_ma)
        return Sample(pressures.load, drive, law.faults, pressures.supply, used_kg)

    def set_supply(self, pressure_pa: float) -> None:
        """Set the supply pressure, absolute [Pa]."""
        self._loop.plant.body.inputs[layout.SOURCE_PA] = pressure_pa

    def set_flow(self, flow_kg_s: float) -> None:
        """Draw so much besides what the plant draws; below 0 feed [kg/s]."""
        inputs = self._loop.plant.body.inputs
        inputs[layout.CONSUMPTION] = self._own_flow_kg_s + flow_kg_s

    def restart(self) -> None:
        """Start the law warm where it knows how, else as after power-up."""
        law = self._loop.law
        if isinstance(law, Restartable):
            law.reset()
        else:
            self._loop.law = self._make_law()

    def set_power(self, *, on: bool) -> None:
        """Cut or return the law's power."""
        self._loop.law = self._make_law() if on else Unpowered()


def _without_scripts(scenario: Scenario) -> Scenario:
    """Keep supply and consumption as they stand at 0 s."""
    arrangement = scenario.plant.arrangement
    supply, consumption = arrangement.supply, arrangement.consumption
    still = replace(
        arrangement,
        supply=replace(supply, changes=_at_start(supply.changes)),
        consumption=replace(consumption, changes=_at_start(consumption.changes)),
    )
    return replace(scenario, plant=replace(scenario.plant, arrangement=still))


def _at_start(
    changes: tuple[tuple[float, float], ...],
) -> tuple[tuple[float, float], ...]:
    return tuple(change for change in changes if change[0] <= 0.0)


def stated_range(scenario: Scenario) -> StaticRange:
    """Find what current asks for what pressure in a scenario's law."""
    command = scenario.law.command
    low_pa, high_pa = scenario.pressure_range_pa
    ends = (high_pa, low_pa) if command.reverse else (low_pa, high_pa)
    return StaticRange((command.start_ma, command.end_ma), ends)
