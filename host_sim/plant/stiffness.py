"""How short a plant's substeps must be, from bounds on the speed of each part.

A pressure near equal pressures asks for stability alone, what turns a flow on
and off for accuracy; sensors' lags ask for nothing, since the step is exact for
them.
"""

import math
from dataclasses import dataclass

from host_sim.plant.gas import choked_coefficient
from host_sim.plant.network import Bounds, Network, flow_slope, pressure_gain
from host_sim.plant.settings import (
    Booster,
    ChainPlant,
    Consumption,
    DirectPlant,
    PilotVolume,
    PlantSettings,
    Restriction,
    Sensing,
    Supply,
    Volume,
)
from host_sim.plant.volume import FADE

STABLE_STEP = 2.2
"""Substep over the time constant of a pressure near equal pressures.

Classic Runge-Kutta is stable to 2.78. Flow this fast lasts only for the last
0.1 % of a pressure difference: it must be stable, not accurate.
"""
SMOOTH_STEP = 0.5
"""Substep over the time constant of what turns a flow on and off.

This and the next three were measured: ``python -m bench.accuracy`` holds drawn
plants against an adaptive solver.
"""
PLAY_STEP = 0.25
"""The same before a play, which engages within a substep."""
LOOP_STEP = 0.3
"""Substep over the time constant of a booster's loop, which may oscillate."""
PLAY_LOOP_STEP = 0.2
"""The same with a play in the loop."""
DELAY_SUBSTEPS = 4
"""Substeps of a tick behind a transport delay that is no whole number of ticks.

The delay line interpolates between them: 0.5 % of a wave of 8 ticks is lost.
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


def ladder(needed: float) -> int:
    """Round a number of substeps up to ``2**k`` or ``3 * 2**k``.

    Loops with the same number run side by side; few numbers make wide groups.
    A number that rounding has put a little above a rung stays on it.

    Examples
    --------
    >>> [ladder(needed) for needed in (0.2, 1.5, 3.0, 4.4, 6.0 + 1e-12, 9.0)]
    [1, 2, 3, 6, 6, 12]
    """
    least = needed * (1.0 - 1e-9)
    power = 1
    while power < least:
        power *= 2
    between = 3 * power // 4
    return between if power >= 4 and between >= least else power


def delay_substeps(sensing: Sensing, tick_s: float) -> int:
    """Substeps of a tick that the transport delays ask for."""
    delays = (
        channel.delay_s / tick_s for channel in (sensing.pressure, sensing.supply)
    )
    # A delay of 0.03 s is 3 ticks of 0.01 s, whatever the binary fractions say.
    parts = any(abs(ticks - round(ticks)) > 1e-9 * ticks for ticks in delays)
    return DELAY_SUBSTEPS if parts else 1


def _lag(part: str, lag_s: float, step_ratio: float) -> list[TimeConstant]:
    return [TimeConstant(part, lag_s, step_ratio)] if lag_s > 0.0 else []


def _wall(name: str, volume: Volume, bounds: Bounds) -> list[TimeConstant]:
    if volume.thermal != "wall":
        return []
    least_kg = bounds.bottom_pa * volume.volume_m3
    least_kg /= bounds.air.gas_constant_j_kg_k * bounds.air.ambient_temperature_k
    cv = bounds.air.gas_constant_j_kg_k / (bounds.air.gamma - 1.0)
    seconds = _inverse(volume.wall_conductance_w_k / (least_kg * cv))
    return [TimeConstant(f"the {name} wall", seconds, SMOOTH_STEP)]


def _inverse(rate_per_s: float) -> float:
    return 1.0 / rate_per_s if rate_per_s > 0.0 else math.inf


def _add_supply(supply: Supply, network: Network) -> list[TimeConstant]:
    if supply.volume is not None:
        network.volumes["supply"] = supply.volume
        network.join("source", "supply", flow_slope(supply.line, network.bounds))
    if supply.ripple_pa == 0.0:
        return []
    seconds = _inverse(2.0 * math.pi * supply.ripple_hz)
    return [TimeConstant("the supply ripple", seconds, SMOOTH_STEP)]


def _add_load(
    load: Volume,
    bleed: Restriction | None,
    consumption: Consumption,
    network: Network,
) -> None:
    most_kg_s = max((abs(flow) for _, flow in consumption.changes), default=0.0)
    fading = most_kg_s / (FADE * network.bounds.air.atmosphere_pa)
    network.volumes["load"] = load
    network.join("load", "atmosphere", flow_slope(bleed, network.bounds) + fading)


def _direct(plant: DirectPlant, network: Network) -> list[TimeConstant]:
    valve = plant.valve
    _add_load(plant.load, plant.bleed, plant.consumption, network)
    network.join_valve("load", valve.fill, valve.exhaust)
    step_ratio = PLAY_STEP if valve.hysteresis > 0.0 else SMOOTH_STEP
    return _lag("the valve lag", valve.lag_s, step_ratio)


def _booster_slope(booster: Booster, bounds: Bounds) -> float:
    """Most flow over the pressure difference that calls for it [kg/(s Pa)].

    ``mdot / (full opening (1 - d))``
    """
    widest = max(
        choked_coefficient(path, bounds.air) for path in (booster.fill, booster.exhaust)
    )
    flow_kg_s = widest * bounds.top_pa / math.sqrt(bounds.air.ambient_temperature_k)
    return flow_kg_s / (booster.full_opening_pa * (1.0 - booster.dead_band))


def _add_booster(
    booster: Booster, outlet: Volume, network: Network
) -> list[TimeConstant]:
    """Join the outlet; a lag makes an oscillator of booster and outlet.

    Two integrators in a loop have the geometric mean of their time constants.
    """
    bounds = network.bounds
    network.volumes["outlet"] = outlet
    network.join_valve("outlet", booster.fill, booster.exhaust)
    slope = _booster_slope(booster, bounds)
    if booster.lag_s == 0.0:
        network.join("outlet", "pilot line", slope)
        return []
    step_ratio = PLAY_LOOP_STEP if booster.hysteresis > 0.0 else LOOP_STEP
    seconds = math.sqrt(booster.lag_s * _inverse(pressure_gain(outlet, bounds) * slope))
    return [
        TimeConstant("the booster lag", booster.lag_s, SMOOTH_STEP),
        TimeConstant("the booster loop", seconds, step_ratio),
    ]


def _chain(plant: ChainPlant, network: Network) -> list[TimeConstant]:
    _add_load(plant.load, plant.load_bleed, plant.consumption, network)
    parts = _add_booster(plant.booster, plant.outlet, network)
    network.join("outlet", "load", flow_slope(plant.tube, network.bounds))
    if not isinstance(plant.pilot, PilotVolume):
        return parts + _lag("the pilot lag", plant.pilot.lag_s, SMOOTH_STEP)
    network.volumes["pilot"] = plant.pilot.chamber
    network.join_valve("pilot", plant.pilot.fill, plant.pilot.exhaust)
    bleed = flow_slope(plant.pilot.bleed, network.bounds)
    network.join("pilot", "atmosphere", bleed)
    return parts


def _bounds(plant: DirectPlant | ChainPlant) -> Bounds:
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
    return Bounds(
        air=plant.air,
        top_pa=max(max(sources) + supply.ripple_pa, *starts),
        bottom_pa=min(plant.air.atmosphere_pa, *starts),
    )


def time_constants(settings: PlantSettings) -> list[TimeConstant]:
    """List a bound on the speed of every part that bounds the substep.

    All volumes together: the inverse eigenvalues of `Network`, each named after
    the volume that takes most part. Lags as they are; the booster loop from its
    highest flow.

    Returns
    -------
    list of TimeConstant
        The part that asks for the shortest substep comes first; one that cannot
        move has an infinite time constant.
    """
    plant = settings.arrangement
    network = Network(_bounds(plant))
    parts = _add_supply(plant.supply, network)
    if isinstance(plant, DirectPlant):
        parts += _direct(plant, network)
    else:
        parts += _chain(plant, network)
    for name, volume in network.volumes.items():
        parts += _wall(name, volume, network.bounds)
    parts += [
        TimeConstant(f"the {name} volume", _inverse(rate_per_s), STABLE_STEP)
        for name, rate_per_s in network.modes()
    ]
    return sorted(parts, key=lambda part: part.longest_step_s)
