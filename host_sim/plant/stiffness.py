"""How fast each part of a plant can be, from bounds on its parameters."""

import math
from dataclasses import dataclass

from host_sim.plant.gas import LAMINAR_RATIO, choked_coefficient, flow_function
from host_sim.plant.pack import start_temperature_k
from host_sim.plant.settings import (
    Air,
    Booster,
    ChainPlant,
    Channel,
    Consumption,
    DirectPlant,
    PilotVolume,
    PlantSettings,
    Restriction,
    Supply,
    Volume,
)
from host_sim.plant.volume import FADE

SMOOTH_STEP = 0.25
"""Substep over time constant where the response itself must be accurate."""
VOLUME_STEP = 1.0
"""Substep over time constant of a volume near equal pressures.

Two coupled volumes may be twice as fast as each alone (Gershgorin), and classic
Runge-Kutta is stable to 2.78. Flow this fast lasts only for the last 0.1 % of a
pressure difference: it must be stable, not accurate.
"""


@dataclass(frozen=True)
class TimeConstant:
    """A bound on the speed of one part, and the substep that it allows."""

    part: str
    seconds: float
    step_ratio: float

    @property
    def longest_step_s(self) -> float:
        """Longest substep that this part allows [s]."""
        return self.step_ratio * self.seconds


@dataclass(frozen=True)
class _Bounds:
    """Air, and the highest and lowest absolute pressure that can occur."""

    air: Air
    top_pa: float
    bottom_pa: float


def _seconds(rate_per_s: float) -> float:
    return 1.0 / rate_per_s if rate_per_s > 0.0 else math.inf


def _heat_exponent(volume: Volume, air: Air) -> float:
    exponents = {"isothermal": 1.0, "polytropic": volume.exponent}
    return exponents.get(volume.thermal, air.gamma)


def _pressure_gain(volume: Volume, air: Air) -> float:
    """Pressure rate for unit mass flow, ``n R T / V`` [Pa/kg]."""
    specific_j_kg = air.gas_constant_j_kg_k * start_temperature_k(volume, air)
    return _heat_exponent(volume, air) * specific_j_kg / volume.volume_m3


def _flow_slope(restriction: Restriction | None, bounds: _Bounds) -> float:
    """Most that a pressure can change a flow [kg/(s Pa)].

    The slope of the flow function near equal pressures, and the ratio of the
    extreme pressures, which bounds how fast inflow replaces a volume's air.
    """
    if restriction is None:
        return 0.0
    end = flow_function(LAMINAR_RATIO, restriction.critical_ratio, restriction.index)
    steepest = end / (1.0 - LAMINAR_RATIO) + bounds.top_pa / bounds.bottom_pa
    coefficient = choked_coefficient(restriction, bounds.air)
    return coefficient / math.sqrt(bounds.air.ambient_temperature_k) * steepest


def _volume(
    name: str, volume: Volume, slope: float, bounds: _Bounds
) -> list[TimeConstant]:
    air = bounds.air
    rate = _pressure_gain(volume, air) * slope
    found = [TimeConstant(f"the {name} volume", _seconds(rate), VOLUME_STEP)]
    if volume.thermal == "wall" and volume.wall_conductance_w_k > 0.0:
        least_j_k = (
            bounds.bottom_pa
            * volume.volume_m3
            / ((air.gamma - 1.0) * air.ambient_temperature_k)
        )
        seconds = least_j_k / volume.wall_conductance_w_k
        found.append(TimeConstant(f"the {name} wall", seconds, SMOOTH_STEP))
    return found


def _lag(part: str, lag_s: float) -> list[TimeConstant]:
    return [TimeConstant(part, lag_s, SMOOTH_STEP)] if lag_s > 0.0 else []


def _supply(supply: Supply, slope: float, bounds: _Bounds) -> list[TimeConstant]:
    found = []
    if supply.ripple_pa > 0.0 and supply.ripple_hz > 0.0:
        seconds = 1.0 / (2.0 * math.pi * supply.ripple_hz)
        found.append(TimeConstant("the supply ripple", seconds, SMOOTH_STEP))
    if supply.volume is not None:
        slope += _flow_slope(supply.line, bounds)
        found += _volume("supply", supply.volume, slope, bounds)
    return found


def _consumption_slope(consumption: Consumption, air: Air) -> float:
    flows = [abs(flow_kg_s) for _, flow_kg_s in consumption.changes]
    return max(flows, default=0.0) / (FADE * air.atmosphere_pa)


def _direct(plant: DirectPlant, bounds: _Bounds) -> list[TimeConstant]:
    fill = _flow_slope(plant.valve.fill, bounds)
    load = (
        max(fill, _flow_slope(plant.valve.exhaust, bounds))
        + _flow_slope(plant.bleed, bounds)
        + _consumption_slope(plant.consumption, plant.air)
    )
    return [
        *_lag("the valve lag", plant.valve.lag_s),
        *_volume("load", plant.load, load, bounds),
        *_supply(plant.supply, fill, bounds),
    ]


def _booster_loop_per_s(booster: Booster, outlet: Volume, bounds: _Bounds) -> float:
    """Rate at which the booster closes a pressure difference [1/s].

    ``n R T mdot / (V full (1 - d))`` without lag; the geometric mean of that
    and 1/lag with one, as of two integrators in a loop.
    """
    widest = max(
        choked_coefficient(path, bounds.air) for path in (booster.fill, booster.exhaust)
    )
    flow_kg_s = widest * bounds.top_pa / math.sqrt(bounds.air.ambient_temperature_k)
    proportional_pa = booster.full_opening_pa * (1.0 - booster.dead_band)
    rate = _pressure_gain(outlet, bounds.air) * flow_kg_s / proportional_pa
    return math.sqrt(rate / booster.lag_s) if booster.lag_s > 0.0 else rate


def _chain(plant: ChainPlant, bounds: _Bounds) -> list[TimeConstant]:
    fill = _flow_slope(plant.booster.fill, bounds)
    tube = _flow_slope(plant.tube, bounds)
    outlet = max(fill, _flow_slope(plant.booster.exhaust, bounds)) + tube
    load = (
        tube
        + _flow_slope(plant.load_bleed, bounds)
        + _consumption_slope(plant.consumption, plant.air)
    )
    loop_per_s = _booster_loop_per_s(plant.booster, plant.outlet, bounds)
    draw = fill
    if isinstance(plant.pilot, PilotVolume):
        pilot_fill = _flow_slope(plant.pilot.fill, bounds)
        draw += pilot_fill
        slope = max(pilot_fill, _flow_slope(plant.pilot.exhaust, bounds))
        slope += _flow_slope(plant.pilot.bleed, bounds)
        pilot = _volume("pilot", plant.pilot.chamber, slope, bounds)
    else:
        pilot = _lag("the pilot lag", plant.pilot.lag_s)
    return [
        *pilot,
        *_lag("the booster lag", plant.booster.lag_s),
        TimeConstant("the booster loop", _seconds(loop_per_s), SMOOTH_STEP),
        *_volume("outlet", plant.outlet, outlet, bounds),
        *_volume("load", plant.load, load, bounds),
        *_supply(plant.supply, draw, bounds),
    ]


def _sensor(name: str, channel: Channel) -> list[TimeConstant]:
    return _lag(f"the {name} sensor lag", channel.lag_s)


def _bounds(plant: DirectPlant | ChainPlant) -> _Bounds:
    supply = plant.supply
    sources = [supply.pressure_pa, *(pressure_pa for _, pressure_pa in supply.changes)]
    volumes = [plant.load]
    if supply.volume is not None:
        volumes.append(supply.volume)
    if isinstance(plant, ChainPlant):
        volumes.append(plant.outlet)
        if isinstance(plant.pilot, PilotVolume):
            volumes.append(plant.pilot.chamber)
    starts = [volume.start_pressure_pa for volume in volumes]
    return _Bounds(
        air=plant.air,
        top_pa=max(max(sources) + supply.ripple_pa, *starts),
        bottom_pa=min(plant.air.atmosphere_pa, *starts),
    )


def time_constants(settings: PlantSettings) -> list[TimeConstant]:
    """List a bound on the speed of every part of a plant.

    A volume: ``V / (n R T sum(dmdot/dp))`` with the steepest slope of each of
    its restrictions; lags as they are; the booster loop from its highest flow.

    Returns
    -------
    list of TimeConstant
        The part that asks for the shortest substep comes first; one that cannot
        move has an infinite time constant.
    """
    plant = settings.arrangement
    bounds = _bounds(plant)
    if isinstance(plant, DirectPlant):
        parts = _direct(plant, bounds)
    else:
        parts = _chain(plant, bounds)
    parts += _sensor("pressure", settings.sensing.pressure)
    parts += _sensor("supply", settings.sensing.supply)
    return sorted(parts, key=lambda part: part.longest_step_s)
