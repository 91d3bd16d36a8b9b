"""Arrangement A: one valve fills or vents the load volume."""

from host_sim.plant.layout import (
    ATMOSPHERE,
    BLEED,
    DRIVE,
    EXHAUST,
    FILL,
    HALF_PLAY,
    HAS_SUPPLY_VOLUME,
    LAG_RATE,
    LOAD,
    LOAD_VOLUME,
    PLAY,
    POSITION,
    SUPPLY,
    SUPPLY_VOLUME,
)
from host_sim.plant.volume import (
    carry,
    carry_consumption,
    carry_line,
    exchange_heat,
    look_sensors,
    look_surroundings,
    look_volume,
    path_flow,
    play,
    start_rates,
)


def look_direct(
    state: list[float], inputs: list[float], params: list[float], view: list[float]
) -> None:
    """Write all that follows at once from the state into the view.

    ``x = play(lagged drive)``. A lag of zero (rate 0) passes its input.

    Parameters
    ----------
    state, inputs, params, view : list of float
        See `host_sim.plant.layout`; ``view`` is overwritten.
    """
    look_surroundings(state, inputs, params, view)
    look_volume(state, params, LOAD, LOAD_VOLUME, view)
    position = state[POSITION] if params[LAG_RATE] > 0.0 else inputs[DRIVE]
    view[PLAY] = play(state[PLAY], position, params[HALF_PLAY])
    view[POSITION] = view[PLAY]
    look_sensors(state, params, LOAD, view)


def direct_rates(
    state: list[float],
    inputs: list[float],
    params: list[float],
    view: list[float],
    rates: list[float],
) -> None:
    """Write the time derivative of every state into the rates.

    Load: ``dm/dt = x mdot_fill - bleed - consumption`` for ``x > 0``, with
    ``-|x| mdot_exhaust`` in place of the first term for ``x < 0``.

    Parameters
    ----------
    state, inputs, params, view, rates : list of float
        See `host_sim.plant.layout`; ``view`` and ``rates`` are overwritten.
    """
    look_direct(state, inputs, params, view)
    start_rates(state, params, LOAD, view, rates)
    rates[POSITION] = params[LAG_RATE] * (inputs[DRIVE] - state[POSITION])
    feed = carry_line(params, view, rates)
    opening = view[POSITION]
    if opening > 0.0:
        flow_kg_s = opening * path_flow(params, FILL, feed, LOAD, view)
        carry(flow_kg_s, params, feed, LOAD, view, rates)
    elif opening < 0.0:
        flow_kg_s = -opening * path_flow(params, EXHAUST, LOAD, ATMOSPHERE, view)
        carry(flow_kg_s, params, LOAD, ATMOSPHERE, view, rates)
    bleed_kg_s = path_flow(params, BLEED, LOAD, ATMOSPHERE, view)
    carry(bleed_kg_s, params, LOAD, ATMOSPHERE, view, rates)
    carry_consumption(inputs, params, view, rates)
    exchange_heat(params, LOAD, LOAD_VOLUME, view, rates)
    if params[HAS_SUPPLY_VOLUME] > 0.0:
        exchange_heat(params, SUPPLY, SUPPLY_VOLUME, view, rates)
