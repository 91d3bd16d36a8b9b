"""Peers on general libraries: scipy's solver, and python-control in two ways.

All keep the board's own `tick` as the law and the equations of
`host_equations` as the plant.
"""

from array import array

import control
import numpy as np
from scipy.integrate import solve_ivp

from bench.host_answer import Answer, FloatArray
from bench.host_equations import DRIVE, Bag, equations_of
from bench.host_timing import core_clock
from host_sim.law.block import FULL
from host_sim.scenario.load import Scenario
from host_sim.scenario.profile import currents_ma

RELATIVE_TOLERANCE = 1e-6
"""Three digits better than the law's 1/25 000 of span, as a careful user asks."""
ABSOLUTE_TOLERANCES = (1e-6, 0.1, 1e-9)
"""The same of a full opening [-], of 1 bar [Pa], and of a gram of air [kg]."""
BOUND = 1e-4
"""Share of span that a peer's pressure may lie off: a solver is not the kernels."""


def run_solve_ivp(scenario: Scenario, ticks: int) -> tuple[float, Answer]:
    """Restart `solve_ivp` (RK45) at each tick, with the drive held."""
    bag, board = equations_of(scenario)
    supply_pa = bag.plant.supply.pressure_pa
    tick_s, words = scenario.law.tick_s, board.words
    currents = currents_ma(scenario.profile, tick_s, ticks)
    load_pa, drive = np.empty(ticks), np.empty(ticks)
    state: FloatArray = np.array(bag.start())

    def rates(_: float, now: FloatArray, held: float) -> tuple[float, float, float]:
        opening, sensed_pa, mass_kg = now.tolist()
        return bag.rates(opening, sensed_pa, mass_kg, held)

    began = core_clock()
    for k, current_ma in enumerate(currents):
        load_pa[k] = bag.load_pa(state[2])
        drive[k] = board.decide(words, current_ma, float(state[1]), supply_pa)
        solved = solve_ivp(
            rates,
            (0.0, tick_s),
            state,
            args=(drive[k],),
            rtol=RELATIVE_TOLERANCE,
            atol=ABSOLUTE_TOLERANCES,
        )
        state = solved.y[:, -1]
    took_s = core_clock() - began
    return took_s, Answer(load_pa, drive, np.array(words, dtype=np.int32))


def run_control_solver(scenario: Scenario, ticks: int) -> tuple[float, Answer]:
    """Let python-control integrate a continuous plant from tick to tick.

    Its way with a plant: a `NonlinearIOSystem`, and `input_output_response`,
    restarted at each tick because the library mixes no continuous plant with a
    sampled law.
    """
    bag, board = equations_of(scenario)
    supply_pa = bag.plant.supply.pressure_pa
    tick_s, words = scenario.law.tick_s, board.words
    currents = currents_ma(scenario.profile, tick_s, ticks)
    load_pa, drive = np.empty(ticks), np.empty(ticks)

    def update(
        _t: float, x: FloatArray, u: FloatArray, _p: object
    ) -> tuple[float, float, float]:
        opening, sensed_pa, mass_kg = x.tolist()
        return bag.rates(opening, sensed_pa, mass_kg, float(u[0]))

    plant = control.nlsys(update, inputs=1, states=3)
    tolerances = {"rtol": RELATIVE_TOLERANCE, "atol": ABSOLUTE_TOLERANCES}
    state: FloatArray = np.array(bag.start())
    began = core_clock()
    for k, current_ma in enumerate(currents):
        load_pa[k] = bag.load_pa(state[2])
        drive[k] = board.decide(words, current_ma, float(state[1]), supply_pa)
        response = control.input_output_response(
            plant,
            (0.0, tick_s),
            (drive[k], drive[k]),
            state,
            solve_ivp_kwargs=tolerances,
        )
        state = response.states[:, -1]
    took_s = core_clock() - began
    return took_s, Answer(load_pa, drive, np.array(words, dtype=np.int32))


def run_control_steps(
    scenario: Scenario, ticks: int, substeps: int
) -> tuple[float, Answer]:
    """Let python-control step a discrete-time system of law and plant.

    Its state is the plant's, then the law's words; one update is a tick, with
    the plant discretised by hand: the classic Runge-Kutta method in as many
    substeps as the project takes. The library then only keeps the time.
    """
    bag, board = equations_of(scenario)
    supply_pa = bag.plant.supply.pressure_pa
    tick_s = scenario.law.tick_s

    def update(_t: float, x: FloatArray, u: FloatArray, _p: object) -> FloatArray:
        opening, sensed_pa, mass_kg, *rest = x.tolist()
        words = array("i", map(int, rest))
        held = board.decide(words, float(u[0]), sensed_pa, supply_pa)
        state = (opening, sensed_pa, mass_kg)
        for _ in range(substeps):
            state = _runge_kutta(bag, state, held, tick_s / substeps)
        return np.array((*state, *words))

    def output(_t: float, x: FloatArray, _u: FloatArray, _p: object) -> float:
        return bag.load_pa(float(x[2]))

    start = (*bag.start(), *board.words)
    loop = control.nlsys(
        update, output, inputs=1, outputs=1, states=len(start), dt=tick_s
    )
    # One more, for the words after the last tick.
    currents = currents_ma(scenario.profile, tick_s, ticks + 1)
    times_s = np.arange(ticks + 1) * tick_s
    began = core_clock()
    response = control.input_output_response(loop, times_s, currents, start)
    took_s = core_clock() - began
    words = np.rint(response.states[3:]).astype(np.int32)
    drive = words[DRIVE, 1:] / FULL
    return took_s, Answer(response.outputs[:ticks], drive, words[:, -1].copy())


def _runge_kutta(
    bag: Bag, state: tuple[float, float, float], held: float, step_s: float
) -> tuple[float, float, float]:
    half_s = 0.5 * step_s
    one = bag.rates(*state, held)
    two = bag.rates(*_moved(state, one, half_s), held)
    three = bag.rates(*_moved(state, two, half_s), held)
    four = bag.rates(*_moved(state, three, step_s), held)
    sum_of_rates = [
        a + 2.0 * (b + c) + d for a, b, c, d in zip(one, two, three, four, strict=True)
    ]
    x, y, z = sum_of_rates
    return _moved(state, (x, y, z), step_s / 6.0)


def _moved(
    state: tuple[float, float, float], rates: tuple[float, float, float], step_s: float
) -> tuple[float, float, float]:
    (a, b, c), (p, q, r) = state, rates
    return a + step_s * p, b + step_s * q, c + step_s * r
