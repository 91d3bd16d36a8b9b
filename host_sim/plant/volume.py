"""Kernels for what stores and moves air: nodes, paths, heat, play.

Mass and internal energy are the states because a Runge-Kutta step keeps linear
invariants exactly: what leaves one node arrives at the next, to rounding.
"""

import math

from host_sim.plant.gas import mass_flow
from host_sim.plant.layout import (
    AMBIENT_K,
    ATMOSPHERE,
    ATMOSPHERE_PA,
    BALANCES,
    CONSUMPTION,
    CP,
    CV,
    EXPONENT_LESS_1,
    HAS_SUPPLY_VOLUME,
    KEEPS_ENERGY,
    LINE,
    LOAD,
    PA_PER_KG_K,
    RIPPLE_PA,
    RIPPLE_RAD_S,
    SENSED,
    SENSED_RATE,
    SENSED_SUPPLY,
    SENSED_SUPPLY_RATE,
    SOURCE,
    SOURCE_PA,
    START_K,
    START_KG,
    SUPPLY,
    SUPPLY_VOLUME,
    TIME,
    WALL_K,
    WALL_W_K,
)

FADE = 0.01
"""Share of the atmosphere over which consumption fades to zero."""


def look_volume(
    state: list[float], params: list[float], node: int, block: int, view: list[float]
) -> None:
    """Write pressure and temperature of a volume into the view.

    ``T = T_start (m / m_start)**(n - 1)`` or ``T = U / (m cv)``;
    ``p = m R T / V``.

    Parameters
    ----------
    state, params, view : list of float
        See `host_sim.plant.layout`.
    node : int
        Index of the volume in state and view.
    block : int
        Index of its block in the parameters.
    """
    mass_kg = state[node]
    if params[block + BALANCES] > 0.0:
        temperature_k = state[node + 1] / (mass_kg * params[CV])
    elif params[block + EXPONENT_LESS_1] > 0.0:
        compression = mass_kg / params[block + START_KG]
        temperature_k = params[block + START_K] * math.pow(
            compression, params[block + EXPONENT_LESS_1]
        )
    else:
        temperature_k = params[block + START_K]
    view[node + 1] = temperature_k
    view[node] = mass_kg * temperature_k * params[block + PA_PER_KG_K]


def look_surroundings(
    state: list[float], inputs: list[float], params: list[float], view: list[float]
) -> None:
    """Write atmosphere, source and supply into the view.

    ``p_source = p + a sin(2 pi f t)``; without a supply volume the supply is
    the source.
    """
    view[TIME] = state[TIME]
    view[ATMOSPHERE] = params[ATMOSPHERE_PA]
    view[ATMOSPHERE + 1] = params[AMBIENT_K]
    view[SOURCE] = inputs[SOURCE_PA]
    if params[RIPPLE_PA] > 0.0:
        ripple = math.sin(params[RIPPLE_RAD_S] * state[TIME])
        view[SOURCE] += params[RIPPLE_PA] * ripple
    view[SOURCE + 1] = params[AMBIENT_K]
    if params[HAS_SUPPLY_VOLUME] > 0.0:
        look_volume(state, params, SUPPLY, SUPPLY_VOLUME, view)
    else:
        view[SUPPLY] = view[SOURCE]
        view[SUPPLY + 1] = view[SOURCE + 1]


def look_sensors(
    state: list[float], params: list[float], sensed_pa: float, view: list[float]
) -> None:
    """Write what arrives at both converters; a lag of zero passes its input.

    ``sensed_pa`` is the pressure at the place of the sensor.
    """
    view[SENSED] = state[SENSED] if params[SENSED_RATE] > 0.0 else sensed_pa
    view[SENSED_SUPPLY] = (
        state[SENSED_SUPPLY] if params[SENSED_SUPPLY_RATE] > 0.0 else view[SUPPLY]
    )


def start_rates(
    params: list[float], sensed_pa: float, view: list[float], rates: list[float]
) -> None:
    """Clear the rates; set those of the clock and of both sensors' lags."""
    for i in range(len(rates)):
        rates[i] = 0.0
    rates[TIME] = 1.0
    rates[SENSED] = params[SENSED_RATE] * sensed_pa
    rates[SENSED_SUPPLY] = params[SENSED_SUPPLY_RATE] * view[SUPPLY]


def path_flow(
    params: list[float], path: int, up: int, down: int, view: list[float]
) -> float:
    """Mass flow through a path from one node to another [kg/s]."""
    return mass_flow(
        params[path],
        params[path + 1],
        params[path + 2],
        view[up],
        view[up + 1],
        view[down],
        view[down + 1],
    )


def carry(
    flow_kg_s: float,
    params: list[float],
    up: int,
    down: int,
    view: list[float],
    rates: list[float],
) -> None:
    """Move mass and its enthalpy ``cp T`` from one node to another.

    The temperature is that of the side that the air leaves. Nothing counts the
    enthalpy while no volume balances its energy.
    """
    rates[up] -= flow_kg_s
    rates[down] += flow_kg_s
    if params[KEEPS_ENERGY] > 0.0:
        origin_k = view[up + 1] if flow_kg_s > 0.0 else view[down + 1]
        enthalpy_w = params[CP] * flow_kg_s * origin_k
        rates[up + 1] -= enthalpy_w
        rates[down + 1] += enthalpy_w


def carry_path(
    params: list[float],
    path: int,
    up: int,
    down: int,
    view: list[float],
    rates: list[float],
) -> None:
    """Let air through a path that is always open, unless there is none."""
    if params[path] > 0.0:
        flow_kg_s = path_flow(params, path, up, down, view)
        carry(flow_kg_s, params, up, down, view, rates)


def carry_valve(
    opening: float,
    params: list[float],
    fill: int,
    exhaust: int,
    node: int,
    view: list[float],
    rates: list[float],
) -> None:
    """Fill a node from the supply, or vent it, as the sign of an opening says.

    ``x mdot(supply -> node)`` through the fill path for ``x > 0``, else
    ``|x| mdot(atmosphere -> node)`` through the exhaust path. One flow is
    computed, with all that differs chosen beforehand.

    Parameters
    ----------
    opening : float
        Signed opening ``x``, -1 ... 1 [-].
    params : list of float
        See `host_sim.plant.layout`.
    fill, exhaust : int
        Indices of both paths in the parameters.
    node : int
        Index of the filled node.
    view, rates : list of float
        See `host_sim.plant.layout`; ``rates`` are added to.
    """
    inflow_kg_s = abs(opening) * mass_flow(
        params[fill] if opening > 0.0 else params[exhaust],
        params[fill + 1] if opening > 0.0 else params[exhaust + 1],
        params[fill + 2] if opening > 0.0 else params[exhaust + 2],
        view[SUPPLY] if opening > 0.0 else view[ATMOSPHERE],
        view[SUPPLY + 1] if opening > 0.0 else view[ATMOSPHERE + 1],
        view[node],
        view[node + 1],
    )
    if opening > 0.0:
        carry(inflow_kg_s, params, SUPPLY, node, view, rates)
    else:
        carry(inflow_kg_s, params, ATMOSPHERE, node, view, rates)


def carry_line(params: list[float], view: list[float], rates: list[float]) -> None:
    """Feed the supply volume; without one, what was drawn is the source's.

    Comes after all that draws from the supply.
    """
    if params[HAS_SUPPLY_VOLUME] > 0.0:
        carry_path(params, LINE, SOURCE, SUPPLY, view, rates)
        exchange_heat(params, SUPPLY, SUPPLY_VOLUME, view, rates)
    else:
        rates[SOURCE] += rates[SUPPLY]
        rates[SOURCE + 1] += rates[SUPPLY + 1]
        rates[SUPPLY] = 0.0
        rates[SUPPLY + 1] = 0.0


def carry_consumption(
    inputs: list[float], params: list[float], view: list[float], rates: list[float]
) -> None:
    """Draw the scripted consumption from the load.

    ``mdot = mdot_script clip((p / p_atm - 1) / 0.01, 0, 1)``
    """
    if inputs[CONSUMPTION] != 0.0:
        excess_pa = view[LOAD] - params[ATMOSPHERE_PA]
        share = min(max(excess_pa / (FADE * params[ATMOSPHERE_PA]), 0.0), 1.0)
        carry(inputs[CONSUMPTION] * share, params, LOAD, ATMOSPHERE, view, rates)


def exchange_heat(
    params: list[float], node: int, block: int, view: list[float], rates: list[float]
) -> None:
    """Close the energy balance of a volume with the heat to its wall.

    ``dU/dt = sum(cp T mdot) - UA (T - T_wall)``; a polytrope has no balance.
    """
    if params[block + BALANCES] > 0.0:
        warmer_k = view[node + 1] - params[block + WALL_K]
        rates[node + 1] -= params[block + WALL_W_K] * warmer_k
    else:
        rates[node + 1] = 0.0


def play(before: float, position: float, half_width: float) -> float:
    """Output of a play (backlash) that a position has moved.

    ``clip(before, position - w/2, position + w/2)``: exact while the position
    moves one way only since ``before``.

    Examples
    --------
    >>> play(0.0, 0.03, 0.05), play(0.0, 0.2, 0.05), play(0.15, 0.12, 0.05)
    (0.0, 0.15, 0.15)
    """
    return min(max(before, position - half_width), position + half_width)
