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
    TUBE,
)
from host_sim.plant.volume import (
    carry_consumption,
    carry_line,
    carry_path,
    carry_valve,
    exchange_heat,
    look_sensors,
    look_surroundings,
    look_volume,
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
    if params[PILOT_IS_LAG] > 0.0:
        view[PILOT + 1] = params[AMBIENT_K]
        if params[PILOT_RATE] > 0.0:
            view[PILOT] = state[PILOT]
        else:
            view[PILOT] = _pilot_request_pa(inputs, params, view)
    else:
        look_volume(state, params, PILOT, PILOT_VOLUME, view)


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
    look_sensors(state, params, _sensed_pa(params, view), view)


def _sensed_pa(params: list[float], view: list[float]) -> float:
    return view[OUTLET] if params[SENSED_AT_OUTLET] > 0.0 else view[LOAD]


def _pilot_rates(
    inputs: list[float], params: list[float], view: list[float], rates: list[float]
) -> None:
    if params[PILOT_IS_LAG] > 0.0:
        request_pa = _pilot_request_pa(inputs, params, view)
        rates[PILOT] = params[PILOT_RATE] * request_pa
    else:
        drive = inputs[DRIVE]
        carry_valve(drive, params, PILOT_FILL, PILOT_EXHAUST, PILOT, view, rates)
        carry_path(params, PILOT_BLEED, PILOT, ATMOSPHERE, view, rates)
        exchange_heat(params, PILOT, PILOT_VOLUME, view, rates)


def chain_rates(
    inputs: list[float], params: list[float], view: list[float], rates: list[float]
) -> None:
    """Write the rate of every state, but for the decay of its lag.

    Outlet: ``dm/dt = o mdot_fill - tube`` for an opening ``o > 0``, with
    ``-|o| mdot_exhaust`` in place of the first term for ``o < 0``;
    load: ``dm/dt = tube - bleed - consumption``.

    Parameters
    ----------
    inputs, params, view, rates : list of float
        See `host_sim.plant.layout`; ``view`` shows the state at hand, ``rates``
        are overwritten.
    """
    start_rates(params, _sensed_pa(params, view), view, rates)
    target = booster_opening(view[PLAY], params[DEAD_BAND])
    rates[POSITION] = params[LAG_RATE] * target
    _pilot_rates(inputs, params, view, rates)
    carry_valve(view[POSITION], params, FILL, EXHAUST, OUTLET, view, rates)
    carry_path(params, TUBE, OUTLET, LOAD, view, rates)
    carry_path(params, BLEED, LOAD, ATMOSPHERE, view, rates)
    carry_consumption(inputs, params, view, rates)
    exchange_heat(params, LOAD, LOAD_VOLUME, view, rates)
    exchange_heat(params, OUTLET, OUTLET_VOLUME, view, rates)
    carry_line(params, view, rates)
