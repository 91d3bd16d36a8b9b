"""Arrangement A: one valve fills or vents the load volume."""

from host_sim.plant.layout import (
    ATMOSPHERE,
    BLEED,
    DRIVE,
    EXHAUST,
    FILL,
    HALF_PLAY,
    LAG_RATE,
    LOAD,
    LOAD_VOLUME,
    PLAY,
    POSITION,
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
    look_sensors(state, params, view[LOAD], view)


def direct_rates(
    inputs: list[float], params: list[float], view: list[float], rates: list[float]
) -> None:
    """Write the rate of every state, but for the decay of its lag.

    Load: ``dm/dt = x mdot_fill - bleed - consumption`` for ``x > 0``, with
    ``-|x| mdot_exhaust`` in place of the first term for ``x < 0``.

    Parameters
    ----------
    inputs, params, view, rates : list of float
        See `host_sim.plant.layout`; ``view`` shows the state at hand, ``rates``
        are overwritten.
    """
    start_rates(params, view[LOAD], view, rates)
    rates[POSITION] = params[LAG_RATE] * inputs[DRIVE]
    carry_valve(view[POSITION], params, FILL, EXHAUST, LOAD, view, rates)
    carry_path(params, BLEED, LOAD, ATMOSPHERE, view, rates)
    carry_consumption(inputs, params, view, rates)
    exchange_heat(params, LOAD, LOAD_VOLUME, view, rates)
    carry_line(params, view, rates)
