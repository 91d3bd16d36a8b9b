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
    GAS_CONSTANT,
    HAS_SUPPLY_VOLUME,
    LINE,
    LOAD,
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
    VOLUME_M3,
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
    view[node] = (
        mass_kg * params[GAS_CONSTANT] * temperature_k / params[block + VOLUME_M3]
    )


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
    state: list[float], params: list[float], sensed: int, view: list[float]
) -> None:
    """Write what arrives at both converters; a lag of zero passes its input.

    ``sensed`` is the node whose pressure is measured.
    """
    view[SENSED] = state[SENSED] if params[SENSED_RATE] > 0.0 else view[sensed]
    view[SENSED_SUPPLY] = (
        state[SENSED_SUPPLY] if params[SENSED_SUPPLY_RATE] > 0.0 else view[SUPPLY]
    )


def start_rates(
    state: list[float],
    params: list[float],
    sensed: int,
    view: list[float],
    rates: list[float],
) -> None:
    """Clear the rates; set those of the clock and of both sensors' lags."""
    for i in range(len(rates)):
        rates[i] = 0.0
    rates[TIME] = 1.0
    rates[SENSED] = params[SENSED_RATE] * (view[sensed] - state[SENSED])
    rates[SENSED_SUPPLY] = params[SENSED_SUPPLY_RATE] * (
        view[SUPPLY] - state[SENSED_SUPPLY]
    )


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

    The temperature is that of the side that the air leaves.
    """
    origin = up if flow_kg_s > 0.0 else down
    enthalpy_w = params[CP] * flow_kg_s * view[origin + 1]
    rates[up] -= flow_kg_s
    rates[up + 1] -= enthalpy_w
    rates[down] += flow_kg_s
    rates[down + 1] += enthalpy_w


def carry_line(params: list[float], view: list[float], rates: list[float]) -> int:
    """Feed the supply volume; return the node that valves draw from."""
    if params[HAS_SUPPLY_VOLUME] > 0.0:
        flow_kg_s = path_flow(params, LINE, SOURCE, SUPPLY, view)
        carry(flow_kg_s, params, SOURCE, SUPPLY, view, rates)
        return SUPPLY
    return SOURCE


def carry_consumption(
    inputs: list[float], params: list[float], view: list[float], rates: list[float]
) -> None:
    """Draw the scripted consumption from the load.

    ``mdot = mdot_script clip((p / p_atm - 1) / 0.01, 0, 1)``
    """
    excess = view[LOAD] / params[ATMOSPHERE_PA] - 1.0
    flow_kg_s = inputs[CONSUMPTION] * min(max(excess / FADE, 0.0), 1.0)
    carry(flow_kg_s, params, LOAD, ATMOSPHERE, view, rates)


def exchange_heat(
    params: list[float], node: int, block: int, view: list[float], rates: list[float]
) -> None:
    """Close the energy balance of a volume with the heat to its wall.

    ``dU/dt = sum(cp T mdot) - UA (T - T_wall)``; a polytrope has no balance.
    """
    heat_w = params[block + WALL_W_K] * (view[node + 1] - params[block + WALL_K])
    rates[node + 1] = params[block + BALANCES] * (rates[node + 1] - heat_w)


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
