"""Judge whether the tick is short enough for the plant."""

from host_sim.plant.settings import Air, ChainPlant, DirectPlant, Restriction
from host_sim.scenario.load import Scenario

SHARE_OF_RANGE = 0.1


def sampling_note(scenario: Scenario) -> str | None:
    """Warn when one tick of full drive moves the load by a tenth of the range.

    ``t = V dp / (C p rho0 R T)``: isothermal, choked at the supply pressure for
    filling, at the top of the range for venting; through the tube if that is
    tighter. A rule of this project, not a standard's.

    Parameters
    ----------
    scenario : Scenario

    Returns
    -------
    str or None
        One line with the reason and a tick that would do.
    """
    plant = scenario.plant.arrangement
    low_pa, high_pa = scenario.pressure_range_pa
    fill, exhaust = _paths(plant)
    rates_pa_s = (
        _rate_pa_s(fill, plant.supply.pressure_pa, plant.load.volume_m3, plant.air),
        _rate_pa_s(exhaust, high_pa, plant.load.volume_m3, plant.air),
    )
    time_s = SHARE_OF_RANGE * (high_pa - low_pa) / max(rates_pa_s)
    if scenario.law.tick_s <= time_s:
        return None
    return (
        f"run.tick {scenario.law.tick_s:g} s is too slow for this plant: at full drive "
        f"the load moves {100 * SHARE_OF_RANGE:g} % of the range in {time_s:.3g} s; "
        f"choose {time_s / 2:.2g} s or less"
    )


def _paths(plant: DirectPlant | ChainPlant) -> tuple[list[Restriction], ...]:
    if isinstance(plant, DirectPlant):
        return [plant.valve.fill], [plant.valve.exhaust]
    return [plant.booster.fill, plant.tube], [plant.booster.exhaust, plant.tube]


def _rate_pa_s(
    path: list[Restriction], upstream_pa: float, volume_m3: float, air: Air
) -> float:
    conductance = min(part.conductance_m3_s_pa for part in path)
    mass_kg_s = conductance * upstream_pa * air.reference_density_kg_m3
    return mass_kg_s * air.gas_constant_j_kg_k * air.ambient_temperature_k / volume_m3
