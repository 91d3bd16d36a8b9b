"""Fixed-step integration of a plant over one tick."""

from host_sim.plant.arrangement import look, rates_of
from host_sim.plant.channel import push
from host_sim.plant.layout import (
    CONSUMPTION,
    DRIVE,
    PLAY,
    SENSED,
    SENSED_SUPPLY,
    SOURCE_PA,
    TIME,
)


def rk4_step(
    state: list[float],
    inputs: list[float],
    params: list[float],
    view: list[float],
    rates: list[float],
    total: list[float],
    trial: list[float],
    step_s: float,
) -> None:
    """Advance the state by one classic Runge-Kutta step.

    ``x += h/6 (k1 + 2 k2 + 2 k3 + k4)``

    Parameters
    ----------
    state, inputs, params, view : list of float
        See `host_sim.plant.layout`; ``state`` is advanced.
    rates, total, trial : list of float
        Work space as long as the state.
    step_s : float
        Step ``h`` [s].

    Notes
    -----
    Source: Kutta (1901), from memory; any book on numerical analysis.
    """
    size = len(state)
    rates_of(state, inputs, params, view, rates)
    for i in range(size):
        total[i] = rates[i]
        trial[i] = state[i] + 0.5 * step_s * rates[i]
    rates_of(trial, inputs, params, view, rates)
    for i in range(size):
        total[i] += 2.0 * rates[i]
        trial[i] = state[i] + 0.5 * step_s * rates[i]
    rates_of(trial, inputs, params, view, rates)
    for i in range(size):
        total[i] += 2.0 * rates[i]
        trial[i] = state[i] + step_s * rates[i]
    rates_of(trial, inputs, params, view, rates)
    for i in range(size):
        state[i] += step_s / 6.0 * (total[i] + rates[i])


def advance(
    state: list[float],
    inputs: list[float],
    params: list[float],
    view: list[float],
    rates: list[float],
    total: list[float],
    trial: list[float],
    line: list[float],
    supply_line: list[float],
    heads: list[int],
    substeps: int,
    step_s: float,
) -> None:
    """Advance a plant by the substeps of one tick.

    At the end of each substep the play is committed and both delay lines take
    one more sample.

    Parameters
    ----------
    state, inputs, params, view : list of float
        See `host_sim.plant.layout`; ``state`` and ``view`` are advanced.
    rates, total, trial : list of float
        Work space as long as the state.
    line, supply_line : list of float
        Delay lines of the pressure and the supply channel [Pa].
    heads : list of int
        Index of the newest sample in each delay line.
    substeps : int
        Number of steps.
    step_s : float
        Length of each [s].
    """
    for _ in range(substeps):
        rk4_step(state, inputs, params, view, rates, total, trial, step_s)
        look(state, inputs, params, view)
        state[PLAY] = view[PLAY]
        heads[0] = push(line, heads[0], view[SENSED])
        heads[1] = push(supply_line, heads[1], view[SENSED_SUPPLY])


def advance_tick(
    time_s: float,
    drive: float,
    source_pa: float,
    consumption_kg_s: float,
    state: list[float],
    inputs: list[float],
    params: list[float],
    view: list[float],
    rates: list[float],
    total: list[float],
    trial: list[float],
    line: list[float],
    supply_line: list[float],
    heads: list[int],
    substeps: int,
    step_s: float,
) -> None:
    """Advance a plant by one tick; then show the inputs of the coming one.

    Parameters
    ----------
    time_s : float
        Start of the tick [s]; a running sum of steps would drift away from it.
    drive : float
        Held during the tick [-].
    source_pa, consumption_kg_s : float
        Scripted inputs from the end of the tick on [Pa], [kg/s].
    state, inputs, params, view, rates, total, trial, line, \
    supply_line, heads, substeps, step_s
        As `advance`.
    """
    inputs[DRIVE] = drive
    state[TIME] = time_s
    advance(
        state,
        inputs,
        params,
        view,
        rates,
        total,
        trial,
        line,
        supply_line,
        heads,
        substeps,
        step_s,
    )
    inputs[SOURCE_PA] = source_pa
    inputs[CONSUMPTION] = consumption_kg_s
    look(state, inputs, params, view)
    # A source that steps at the valve is seen at once by an ideal sensor.
    supply_line[heads[1]] = view[SENSED_SUPPLY]
