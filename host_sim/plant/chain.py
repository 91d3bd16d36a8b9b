"""Arrangement B: pilot, volume booster, outlet, tube and load."""

from host_sim.plant.layout import (
    AMBIENT_K,
    ATMOSPHERE,
    ATMOSPHERE_PA,
    BLEED,
    DEAD_BAND,
    DRIVE,
    EXHAUST,
    FILL,
    FULL_OPENING_PA,
    HALF_PLAY,
    HAS_SUPPLY_VOLUME,
    LAG_RATE,
    LOAD,
    LOAD_VOLUME,
    OUTLET,
    OUTLET_VOLUME,
    PILOT,
    PILOT_BLEED,
    PILOT_EXHAUST,
    PILOT_FILL,
    PILOT_HIGH_PA,
    PILOT_IS_LAG,
    PILOT_LOW_PA,
    PILOT_RATE,
    PILOT_VOLUME,
    PLAY,
    POSITION,
    SENSED_AT_OUTLET,
    SUPPLY,
    SUPPLY_VOLUME,
    TUBE,
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


def booster_opening(difference: float, dead_band: float) -> float:
    """Find the opening that a booster takes at a difference.

    ``sign(z) clip((|z| - d) / (1 - d), 0, 1)``

    Parameters
    ----------
    difference : float
        Pilot less outlet, over the full-opening difference [-].
    dead_band : float
        Half width ``d`` of the band without flow, 0 ... 1 [-].

    Returns
    -------
    float
        Opening, -1 ... 1 [-].

    Examples
    --------
    >>> [booster_opening(z, 0.2) for z in (-1.5, -0.6, 0.1, 0.6)]
    [-1.0, -0.5, 0.0, 0.5]
    """
    share = min(max((abs(difference) - dead_band) / (1.0 - dead_band), 0.0), 1.0)
    return share if difference > 0.0 else -share


def _pilot_request_pa(
    inputs: list[float], params: list[float], view: list[float]
) -> float:
    share = min(max(inputs[DRIVE], 0.0), 1.0)
    low_pa = params[PILOT_LOW_PA]
    request_pa = low_pa + share * (params[PILOT_HIGH_PA] - low_pa)
    return min(max(request_pa, params[ATMOSPHERE_PA]), view[SUPPLY])


def _look_pilot(
    state: list[float], inputs: list[float], params: list[float], view: list[float]
) -> None:
    if params[PILOT_IS_LAG] == 0.0:
        look_volume(state, params, PILOT, PILOT_VOLUME, view)
        return
    view[PILOT + 1] = params[AMBIENT_K]
    if params[PILOT_RATE] > 0.0:
        view[PILOT] = state[PILOT]
    else:
        view[PILOT] = _pilot_request_pa(inputs, params, view)


def look_chain(
    state: list[float], inputs: list[float], params: list[float], view: list[float]
) -> None:
    """Write all that follows at once from the state into the view.

    ``z = (p_pilot - p_outlet) / full opening`` passes the play; the opening is
    its lagged state, or follows at once when the lag is zero (rate 0).

    Parameters
    ----------
    state, inputs, params, view : list of float
        See `host_sim.plant.layout`; ``view`` is overwritten.
    """
    look_surroundings(state, inputs, params, view)
    look_volume(state, params, LOAD, LOAD_VOLUME, view)
    look_volume(state, params, OUTLET, OUTLET_VOLUME, view)
    _look_pilot(state, inputs, params, view)
    difference = (view[PILOT] - view[OUTLET]) / params[FULL_OPENING_PA]
    view[PLAY] = play(state[PLAY], difference, params[HALF_PLAY])
    if params[LAG_RATE] > 0.0:
        view[POSITION] = state[POSITION]
    else:
        view[POSITION] = booster_opening(view[PLAY], params[DEAD_BAND])
    look_sensors(state, params, _sensed(params), view)


def _sensed(params: list[float]) -> int:
    return OUTLET if params[SENSED_AT_OUTLET] > 0.0 else LOAD


def _pilot_rates(
    state: list[float],
    inputs: list[float],
    params: list[float],
    view: list[float],
    rates: list[float],
    feed: int,
) -> None:
    if params[PILOT_IS_LAG] > 0.0:
        request_pa = _pilot_request_pa(inputs, params, view)
        rates[PILOT] = params[PILOT_RATE] * (request_pa - state[PILOT])
        return
    drive = inputs[DRIVE]
    if drive > 0.0:
        flow_kg_s = drive * path_flow(params, PILOT_FILL, feed, PILOT, view)
        carry(flow_kg_s, params, feed, PILOT, view, rates)
    elif drive < 0.0:
        flow_kg_s = -drive * path_flow(params, PILOT_EXHAUST, PILOT, ATMOSPHERE, view)
        carry(flow_kg_s, params, PILOT, ATMOSPHERE, view, rates)
    bleed_kg_s = path_flow(params, PILOT_BLEED, PILOT, ATMOSPHERE, view)
    carry(bleed_kg_s, params, PILOT, ATMOSPHERE, view, rates)
    exchange_heat(params, PILOT, PILOT_VOLUME, view, rates)


def chain_rates(
    state: list[float],
    inputs: list[float],
    params: list[float],
    view: list[float],
    rates: list[float],
) -> None:
    """Write the time derivative of every state into the rates.

    Outlet: ``dm/dt = o mdot_fill - tube`` for an opening ``o > 0``, with
    ``-|o| mdot_exhaust`` in place of the first term for ``o < 0``;
    load: ``dm/dt = tube - bleed - consumption``.

    Parameters
    ----------
    state, inputs, params, view, rates : list of float
        See `host_sim.plant.layout`; ``view`` and ``rates`` are overwritten.
    """
    look_chain(state, inputs, params, view)
    start_rates(state, params, _sensed(params), view, rates)
    target = booster_opening(view[PLAY], params[DEAD_BAND])
    rates[POSITION] = params[LAG_RATE] * (target - state[POSITION])
    feed = carry_line(params, view, rates)
    _pilot_rates(state, inputs, params, view, rates, feed)
    opening = view[POSITION]
    if opening > 0.0:
        flow_kg_s = opening * path_flow(params, FILL, feed, OUTLET, view)
        carry(flow_kg_s, params, feed, OUTLET, view, rates)
    elif opening < 0.0:
        flow_kg_s = -opening * path_flow(params, EXHAUST, OUTLET, ATMOSPHERE, view)
        carry(flow_kg_s, params, OUTLET, ATMOSPHERE, view, rates)
    tube_kg_s = path_flow(params, TUBE, OUTLET, LOAD, view)
    carry(tube_kg_s, params, OUTLET, LOAD, view, rates)
    bleed_kg_s = path_flow(params, BLEED, LOAD, ATMOSPHERE, view)
    carry(bleed_kg_s, params, LOAD, ATMOSPHERE, view, rates)
    carry_consumption(inputs, params, view, rates)
    exchange_heat(params, LOAD, LOAD_VOLUME, view, rates)
    exchange_heat(params, OUTLET, OUTLET_VOLUME, view, rates)
    if params[HAS_SUPPLY_VOLUME] > 0.0:
        exchange_heat(params, SUPPLY, SUPPLY_VOLUME, view, rates)
