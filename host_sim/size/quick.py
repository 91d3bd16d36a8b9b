"""Formulas for a pocket calculator: the capacity that a stroke needs, choked.

They take the flow as choked from start to end, the air at one temperature, the
supply right at the valve and the load right behind it.
"""

import math

from host_sim.plant.pack import start_temperature_k
from host_sim.plant.settings import Air, Volume
from host_sim.size.stroke import Stroke, lowest_source_pa


def choked_fill_conductance(
    volume: Volume, end_pa: float, supply_pa: float, time_s: float, air: Air
) -> float:
    """Find the C that fills a volume in a time, choked throughout.

    ``C = V (p2 - p1) / (R T t rho0 sqrt(T0/Ta) ps)``

    Parameters
    ----------
    volume : Volume
        Starts at ``p1``; its air keeps the wall's temperature ``T``.
    end_pa, supply_pa : float
        Absolute pressures ``p2`` and ``ps`` [Pa].
    time_s : float
        Time ``t`` [s].
    air : Air
        The gas; the supply has the ambient temperature ``Ta``.

    Returns
    -------
    float
        Sonic conductance [m3/(s Pa)]; exact while ``p2 <= b ps``.

    Notes
    -----
    Source: isothermal charging of a volume, second-hand.

    Examples
    --------
    >>> bag = Volume(2e-3, 1.01325e5)
    >>> choked_fill_conductance(bag, 3e5, 8e5, 0.5, Air()) * 1e8
    0.99620
    """
    change_pa = end_pa - volume.start_pressure_pa
    gained_kg = (
        volume.volume_m3
        * change_pa
        / (air.gas_constant_j_kg_k * start_temperature_k(volume, air))
    )
    warmth = math.sqrt(air.reference_temperature_k / air.ambient_temperature_k)
    return gained_kg / (time_s * air.reference_density_kg_m3 * warmth * supply_pa)


def choked_vent_conductance(
    volume: Volume, end_pa: float, time_s: float, air: Air
) -> float:
    """Find the C that vents a volume in a time, choked throughout.

    ``C = V ln(p1/p2) / (R T t rho0 sqrt(T0/T))``

    Parameters
    ----------
    volume : Volume
        Starts at ``p1``; its air keeps the wall's temperature ``T``.
    end_pa : float
        Absolute pressure ``p2`` [Pa].
    time_s : float
        Time ``t`` [s].
    air : Air
        The gas.

    Returns
    -------
    float
        Sonic conductance [m3/(s Pa)]; exact while ``p2 >= p_atmosphere / b``.

    Notes
    -----
    Source: isothermal blow-down of a volume, second-hand.

    Examples
    --------
    >>> bag = Volume(50e-3, 8.013e5)
    >>> choked_vent_conductance(bag, 1.013e5 / 0.3, 8.6418, Air()) * 1e8
    5.014
    """
    temperature_k = start_temperature_k(volume, air)
    warmth = math.sqrt(air.reference_temperature_k / temperature_k)
    falls = math.log(volume.start_pressure_pa / end_pa)
    unit_kg_s = air.reference_density_kg_m3 * warmth * air.gas_constant_j_kg_k
    return volume.volume_m3 * falls / (unit_kg_s * temperature_k * time_s)


def quick_conductance(stroke: Stroke) -> float:
    """Apply the quick formula to a stroke [m3/(s Pa)]."""
    plant = stroke.plant
    if stroke.kind == "vent":
        return choked_vent_conductance(
            plant.load, stroke.target_pa, stroke.wanted_s, plant.air
        )
    return choked_fill_conductance(
        plant.load,
        stroke.target_pa,
        lowest_source_pa(plant.supply),
        stroke.wanted_s,
        plant.air,
    )
