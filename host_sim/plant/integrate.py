"""Fixed-step integration of a plant over one tick."""

from host_sim.plant.arrangement import look, rates_of
from host_sim.plant.channel import push
from host_sim.plant.exponential import (
    DECAY,
    FIRST,
    HALF_DECAY,
    HALF_GAIN,
    LAST,
    MIDDLE,
)
from host_sim.plant.layout import (
    CONSUMPTION,
    DRIVE,
    PLAY,
    SENSED,
    SENSED_SUPPLY,
    SOURCE_PA,
    TIME,
)


def step(
    state: list[float],
    inputs: list[float],
    params: list[float],
    view: list[float],
    rates: list[float],
    total: list[float],
    trial: list[float],
    ahead: list[float],
    coefficients: list[float],
) -> None:
    """Advance the state by one exponential Runge-Kutta step of order 4.

    ``a = e2 x + q k(x)``, ``b = e2 x + q k(a)``, ``c = e2 a + q (2 k(b) - k(x))``,
    ``x = e x + f1 k(x) + f2 (k(a) + k(b)) + f3 k(c)``: the classic Runge-Kutta
    step for a state without lag.

    Parameters
    ----------
    state, inputs, params, view : list of float
        See `host_sim.plant.layout`. The view shows the state before the step;
        ``state`` is advanced, the view is left behind.
    rates, total, trial, ahead : list of float
        Work space as long as the state.
    coefficients : list of float
        From `host_sim.plant.exponential.step_coefficients`.

    Notes
    -----
    Source: Cox and Matthews, J. Comput. Phys. 176 (2002), from memory.
    """
    size = len(state)
    rates_of(inputs, params, view, rates)
    for i in range(size):
        half = coefficients[HALF_DECAY * size + i]
        gain = coefficients[HALF_GAIN * size + i]
        total[i] = coefficients[FIRST * size + i] * rates[i]
        trial[i] = half * state[i] + gain * rates[i]
        # What c takes from x and k(x), with a written out.
        ahead[i] = half * trial[i] - gain * rates[i]
    look(trial, inputs, params, view)
    rates_of(inputs, params, view, rates)
    for i in range(size):
        total[i] += coefficients[MIDDLE * size + i] * rates[i]
        trial[i] = (
            coefficients[HALF_DECAY * size + i] * state[i]
            + coefficients[HALF_GAIN * size + i] * rates[i]
        )
    look(trial, inputs, params, view)
    rates_of(inputs, params, view, rates)
    for i in range(size):
        total[i] += coefficients[MIDDLE * size + i] * rates[i]
        trial[i] = ahead[i] + 2.0 * coefficients[HALF_GAIN * size + i] * rates[i]
    look(trial, inputs, params, view)
    rates_of(inputs, params, view, rates)
    for i in range(size):
        state[i] = coefficients[DECAY * size + i] * state[i] + (
            total[i] + coefficients[LAST * size + i] * rates[i]
        )


def advance(
    state: list[float],
    inputs: list[float],
    params: list[float],
    view: list[float],
    rates: list[float],
    total: list[float],
    trial: list[float],
    ahead: list[float],
    coefficients: list[float],
    line: list[float],
    supply_line: list[float],
    heads: list[int],
    substeps: int,
) -> None:
    """Advance a plant by the substeps of one tick.

    At the end of each substep the play is committed and both delay lines take
    one more sample.

    Parameters
    ----------
    state, inputs, params, view : list of float
        See `host_sim.plant.layout`; ``state`` and ``view`` are advanced.
    rates, total, trial, ahead, coefficients : list of float
        See `step`.
    line, supply_line : list of float
        Delay lines of the pressure and the supply channel [Pa].
    heads : list of int
        Index of the newest sample in each delay line.
    substeps : int
        Number of steps.
    """
    look(state, inputs, params, view)
    for _ in range(substeps):
        step(state, inputs, params, view, rates, total, trial, ahead, coefficients)
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
    ahead: list[float],
    coefficients: list[float],
    line: list[float],
    supply_line: list[float],
    heads: list[int],
    substeps: int,
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
    state, inputs, params, view, rates, total, trial, ahead, coefficients, line, \
    supply_line, heads, substeps
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
        ahead,
        coefficients,
        line,
        supply_line,
        heads,
        substeps,
    )
    inputs[SOURCE_PA] = source_pa
    inputs[CONSUMPTION] = consumption_kg_s
    look(state, inputs, params, view)
    # A source that steps at the valve is seen at once by an ideal sensor.
    supply_line[heads[1]] = view[SENSED_SUPPLY]
