"""From the settings to the flat lists that the kernels read."""

import math

from host_sim.errors import InputError
from host_sim.plant import layout
from host_sim.plant.gas import choked_coefficient, steepness_of
from host_sim.plant.settings import (
    Air,
    ChainPlant,
    DirectPlant,
    PilotLag,
    PilotVolume,
    PlantSettings,
    Restriction,
    Supply,
    Volume,
)

SHUT = Restriction(0.0)


def start_temperature_k(volume: Volume, air: Air) -> float:
    """Temperature that a volume starts with: that of its wall [K]."""
    if volume.wall_temperature_k is None:
        return air.ambient_temperature_k
    return volume.wall_temperature_k


def _start_kg(volume: Volume, air: Air) -> float:
    specific = air.gas_constant_j_kg_k * start_temperature_k(volume, air)
    return volume.start_pressure_pa * volume.volume_m3 / specific


def _rate(lag_s: float) -> float:
    return 1.0 / lag_s if lag_s > 0.0 else 0.0


def _put_path(
    params: list[float], path: int, restriction: Restriction | None, air: Air
) -> None:
    restriction = restriction or SHUT
    params[path : path + layout.PATH_SIZE] = [
        choked_coefficient(restriction, air),
        steepness_of(restriction.critical_ratio),
        restriction.index,
    ]


def _put_volume(
    params: list[float],
    state: list[float],
    node: int,
    block: int,
    volume: Volume,
    air: Air,
) -> None:
    temperature_k = start_temperature_k(volume, air)
    start_kg = _start_kg(volume, air)
    balances = 1.0 if volume.thermal in {"adiabatic", "wall"} else 0.0
    params[layout.KEEPS_ENERGY] = max(params[layout.KEEPS_ENERGY], balances)
    params[block : block + layout.VOLUME_SIZE] = [
        air.gas_constant_j_kg_k / volume.volume_m3,
        balances,
        start_kg,
        temperature_k,
        volume.exponent - 1.0 if volume.thermal == "polytropic" else 0.0,
        volume.wall_conductance_w_k if volume.thermal == "wall" else 0.0,
        temperature_k,
    ]
    state[node] = start_kg
    state[node + 1] = start_kg * params[layout.CV] * temperature_k


def _put_air(params: list[float], air: Air) -> None:
    cv = air.gas_constant_j_kg_k / (air.gamma - 1.0)
    params[layout.CV] = cv
    params[layout.CP] = air.gamma * cv
    params[layout.ATMOSPHERE_PA] = air.atmosphere_pa
    params[layout.AMBIENT_K] = air.ambient_temperature_k


def _put_supply(
    params: list[float], state: list[float], supply: Supply, air: Air
) -> None:
    params[layout.RIPPLE_PA] = supply.ripple_pa
    params[layout.RIPPLE_RAD_S] = 2.0 * math.pi * supply.ripple_hz
    if (supply.line is None) != (supply.volume is None):
        present, absent = "line", "volume"
        if supply.line is None:
            present, absent = absent, present
        raise InputError(
            f"supply: a {present} without a {absent}; give both, or none for a "
            "source right at the valve"
        )
    _put_path(params, layout.LINE, supply.line, air)
    if supply.volume is not None:
        params[layout.HAS_SUPPLY_VOLUME] = 1.0
        _put_volume(
            params, state, layout.SUPPLY, layout.SUPPLY_VOLUME, supply.volume, air
        )


def _direct(plant: DirectPlant) -> tuple[list[float], list[float]]:
    params = [0.0] * layout.DIRECT_PARAMS
    state = [0.0] * layout.DIRECT_STATES
    air, valve = plant.air, plant.valve
    _put_air(params, air)
    _put_supply(params, state, plant.supply, air)
    params[layout.LAG_RATE] = _rate(valve.lag_s)
    params[layout.HALF_PLAY] = 0.5 * valve.hysteresis
    _put_path(params, layout.FILL, valve.fill, air)
    _put_path(params, layout.EXHAUST, valve.exhaust, air)
    _put_path(params, layout.BLEED, plant.bleed, air)
    _put_volume(params, state, layout.LOAD, layout.LOAD_VOLUME, plant.load, air)
    return params, state


def _put_pilot(
    params: list[float], state: list[float], pilot: PilotVolume | PilotLag, air: Air
) -> None:
    if isinstance(pilot, PilotVolume):
        _put_path(params, layout.PILOT_FILL, pilot.fill, air)
        _put_path(params, layout.PILOT_EXHAUST, pilot.exhaust, air)
        _put_path(params, layout.PILOT_BLEED, pilot.bleed, air)
        _put_volume(
            params, state, layout.PILOT, layout.PILOT_VOLUME, pilot.chamber, air
        )
        return
    params[layout.PILOT_IS_LAG] = 1.0
    params[layout.PILOT_LOW_PA] = pilot.low_pa
    params[layout.PILOT_HIGH_PA] = pilot.high_pa
    params[layout.PILOT_RATE] = _rate(pilot.lag_s)
    state[layout.PILOT] = pilot.start_pressure_pa


def _chain(plant: ChainPlant) -> tuple[list[float], list[float]]:
    params = [0.0] * layout.CHAIN_PARAMS
    state = [0.0] * layout.CHAIN_STATES
    air, booster = plant.air, plant.booster
    _put_air(params, air)
    _put_supply(params, state, plant.supply, air)
    _put_pilot(params, state, plant.pilot, air)
    params[layout.LAG_RATE] = _rate(booster.lag_s)
    params[layout.HALF_PLAY] = 0.5 * booster.hysteresis
    params[layout.FULL_OPENING_PA] = booster.full_opening_pa
    params[layout.DEAD_BAND] = booster.dead_band
    _put_path(params, layout.FILL, booster.fill, air)
    _put_path(params, layout.EXHAUST, booster.exhaust, air)
    _put_path(params, layout.TUBE, plant.tube, air)
    _put_path(params, layout.BLEED, plant.load_bleed, air)
    _put_volume(params, state, layout.OUTLET, layout.OUTLET_VOLUME, plant.outlet, air)
    _put_volume(params, state, layout.LOAD, layout.LOAD_VOLUME, plant.load, air)
    return params, state


def pack(settings: PlantSettings) -> tuple[list[float], list[float]]:
    """Turn settings into the parameters and the start state.

    Parameters
    ----------
    settings : PlantSettings
        The plant and its sensors.

    Returns
    -------
    params, state : list of float
        See `host_sim.plant.layout`. The lagged sensor pressures are left at
        zero: they follow from the first look.

    Raises
    ------
    InputError
        When the supply has a line without a volume, or the reverse.
    """
    plant, sensing = settings.arrangement, settings.sensing
    if isinstance(plant, DirectPlant):
        params, state = _direct(plant)
    else:
        params, state = _chain(plant)
        params[layout.SENSED_AT_OUTLET] = float(sensing.location == "outlet")
    params[layout.SENSED_RATE] = _rate(sensing.pressure.lag_s)
    params[layout.SENSED_SUPPLY_RATE] = _rate(sensing.supply.lag_s)
    return params, state
