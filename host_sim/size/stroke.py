"""One stroke of the valve: fully open from rest until a pressure is reached.

The project's own plant is run without the law, so that what comes out is what
the air path can do; a control loop needs some time more.
"""

import math
from dataclasses import dataclass, replace
from typing import Literal

from host_sim.errors import InputError
from host_sim.plant.plant import Plant
from host_sim.plant.settings import (
    Booster,
    ChainPlant,
    Channel,
    Consumption,
    DirectPlant,
    DirectValve,
    PilotLag,
    PlantSettings,
    Restriction,
    Sensing,
    Supply,
)
from host_sim.scenario.load import Scenario
from host_sim.scenario.wanted import Wanted

Arrangement = DirectPlant | ChainPlant

TICKS = 100
"""Ticks of a run in the wanted time; the crossing is found between two of them."""
PATIENCE = 4.0
"""Times the wanted time after which a stroke counts as never done."""

_IDEAL = Channel(0.0, 1e7, bits=None)


@dataclass(frozen=True)
class Stroke:
    """A plant at rest, and the pressure that it must reach.

    The plant fills from ``start_pa`` or vents from it, and has ``wanted_s`` to
    pass ``target_pa``. Source and consumption are constant.
    """

    kind: Literal["fill", "vent"]
    plant: Arrangement
    start_pa: float
    target_pa: float
    wanted_s: float

    @property
    def path(self) -> Restriction:
        """The valve's own path that this stroke uses."""
        valve = _valve(self.plant)
        return valve.fill if self.kind == "fill" else valve.exhaust

    def with_path(self, path: Restriction) -> "Stroke":
        """Make the same stroke through another path of the valve."""
        side = "fill" if self.kind == "fill" else "exhaust"
        return replace(self, plant=with_paths(self.plant, **{side: path}))

    def with_conductance(self, conductance_m3_s_pa: float) -> "Stroke":
        """Make the same stroke with another C, the valve's b and m kept."""
        path = replace(self.path, conductance_m3_s_pa=conductance_m3_s_pa)
        return self.with_path(path)


@dataclass(frozen=True)
class Trace:
    """What a stroke did, at the start and after each tick.

    ``reached_s`` is when the load passed the target; infinite when it had not
    by the end of the run.
    """

    time_s: tuple[float, ...]
    load_pa: tuple[float, ...]
    supply_pa: tuple[float, ...]
    reached_s: float


def with_paths(
    plant: Arrangement,
    fill: Restriction | None = None,
    exhaust: Restriction | None = None,
) -> Arrangement:
    """Put other paths into a plant's valve or booster.

    Parameters
    ----------
    plant : DirectPlant or ChainPlant
    fill, exhaust : Restriction, optional
        The present one is kept where none is given.

    Returns
    -------
    DirectPlant or ChainPlant
    """
    valve = _valve(plant)
    fill, exhaust = fill or valve.fill, exhaust or valve.exhaust
    if isinstance(plant, DirectPlant):
        changed = replace(plant.valve, fill=fill, exhaust=exhaust)
        return replace(plant, valve=changed)
    return replace(plant, booster=replace(plant.booster, fill=fill, exhaust=exhaust))


def strokes(scenario: Scenario) -> tuple[Stroke, Stroke]:
    """Make the two strokes that a scenario wants.

    Both count on the worst that the scenario tells of: the lowest supply, the
    largest consumption while filling and the smallest while venting.

    Parameters
    ----------
    scenario : Scenario
        With ``wanted``.

    Returns
    -------
    tuple of Stroke
        Filling, then venting.

    Raises
    ------
    InputError
        The scenario does not say what is wanted.

    Notes
    -----
    Source: this project's own choice.
    """
    wanted, plant = wanted_of(scenario), scenario.plant.arrangement
    change_pa = (1.0 - wanted.within) * (wanted.end_pa - wanted.start_pa)
    drawn_kg_s = [flow for _, flow in plant.consumption.changes]
    from_the_start = any(time_s == 0.0 for time_s, _ in plant.consumption.changes)
    least_kg_s = min(drawn_kg_s) if from_the_start else 0.0
    fill = at_rest(plant, wanted.start_pa, max(drawn_kg_s, default=0.0))
    vent = at_rest(plant, wanted.end_pa, least_kg_s)
    return (
        Stroke(
            "fill",
            fill,
            wanted.start_pa,
            wanted.start_pa + change_pa,
            wanted.fill_time_s,
        ),
        Stroke(
            "vent", vent, wanted.end_pa, wanted.end_pa - change_pa, wanted.vent_time_s
        ),
    )


def wanted_of(scenario: Scenario) -> Wanted:
    """Return what a scenario wants, or refuse one that does not say.

    Raises
    ------
    InputError
        No ``[wanted]`` in the file.
    """
    if scenario.wanted is None:
        raise InputError(
            'wanted: missing; write [wanted] with fill_time = "0.8 s" and '
            'vent_time = "1 s" (start and end are those of the range unless given)'
        )
    return scenario.wanted


def lowest_source_pa(supply: Supply) -> float:
    """Lowest pressure of the source, its ripple taken off [Pa]."""
    return min(_source_pressures_pa(supply)) - supply.ripple_pa


def highest_source_pa(supply: Supply) -> float:
    """Highest pressure of the source, with its ripple [Pa]."""
    return max(_source_pressures_pa(supply)) + supply.ripple_pa


def at_rest(
    plant: Arrangement, pressure_pa: float, consumption_kg_s: float
) -> Arrangement:
    """Make a plant that stands at one pressure, at the lowest supply.

    Parameters
    ----------
    plant : DirectPlant or ChainPlant
    pressure_pa : float
        Load, outlet and pilot at time 0 [Pa].
    consumption_kg_s : float
        Drawn from the load all the time [kg/s].

    Returns
    -------
    DirectPlant or ChainPlant
    """
    source_pa = lowest_source_pa(plant.supply)
    volume = plant.supply.volume
    supply = Supply(
        source_pa,
        line=plant.supply.line,
        volume=replace(volume, start_pressure_pa=source_pa) if volume else None,
    )
    consumption = Consumption(((0.0, consumption_kg_s),) if consumption_kg_s else ())
    load = replace(plant.load, start_pressure_pa=pressure_pa)
    if isinstance(plant, DirectPlant):
        return replace(plant, supply=supply, consumption=consumption, load=load)
    pilot = plant.pilot
    resting = (
        replace(pilot, start_pressure_pa=pressure_pa)
        if isinstance(pilot, PilotLag)
        else replace(
            pilot, chamber=replace(pilot.chamber, start_pressure_pa=pressure_pa)
        )
    )
    return replace(
        plant,
        supply=supply,
        consumption=consumption,
        load=load,
        outlet=replace(plant.outlet, start_pressure_pa=pressure_pa),
        pilot=resting,
    )


def run_stroke(stroke: Stroke, patience: float = PATIENCE) -> Trace:
    """Run a stroke until its target is passed, or patience ends.

    The moment of passing is interpolated in a straight line within a tick of a
    hundredth of the wanted time.

    Parameters
    ----------
    stroke : Stroke
    patience : float
        Longest run over the wanted time [-].

    Returns
    -------
    Trace

    Raises
    ------
    InputError
        The plant is too stiff to be simulated.
    """
    settings = PlantSettings(stroke.plant, sensing=Sensing(_IDEAL, _IDEAL))
    plant = Plant(settings, stroke.wanted_s / TICKS)
    drive = 1.0 if stroke.kind == "fill" else -1.0
    times_s, load_pa = [0.0], [plant.pressures_pa().load]
    supply_pa = [plant.pressures_pa().supply]
    reached_s = math.inf
    for _ in range(round(patience * TICKS)):
        plant.advance(drive)
        now = plant.pressures_pa()
        times_s.append(plant.time_s)
        load_pa.append(now.load)
        supply_pa.append(now.supply)
        if drive * (now.load - stroke.target_pa) >= 0.0:
            beyond = (now.load - stroke.target_pa) / (now.load - load_pa[-2])
            reached_s = plant.time_s - beyond * plant.tick_s
            break
    return Trace(tuple(times_s), tuple(load_pa), tuple(supply_pa), reached_s)


def _valve(plant: Arrangement) -> DirectValve | Booster:
    return plant.valve if isinstance(plant, DirectPlant) else plant.booster


def _source_pressures_pa(supply: Supply) -> list[float]:
    return [supply.pressure_pa, *(pressure_pa for _, pressure_pa in supply.changes)]
