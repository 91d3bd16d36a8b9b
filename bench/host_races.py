"""Who runs against whom, on which loops, and how each answer is checked."""

import os
from collections.abc import Callable, Iterable, Sequence
from time import perf_counter

import numpy as np

from bench.host_answer import Answer, check_close, check_same
from bench.host_c import NATIVE, CLoop, c_loop
from bench.host_case import draw_scenarios, load_case, load_chain, with_ticks
from bench.host_numpy import run_numpy
from bench.host_ours import (
    check_marks,
    check_run,
    marks_of,
    record,
    run_lanes,
    run_plain,
    run_whole,
)
from bench.host_solvers import (
    BOUND,
    run_control_solver,
    run_control_steps,
    run_solve_ivp,
)
from bench.host_timing import Entrant, core_clock
from host_sim.loop.batch import Watched
from host_sim.loop.rig import Rig, make_rig
from host_sim.measure.watched import watch_steps
from host_sim.scenario.load import Scenario

LONG_TICKS, SHORT_TICKS = 20_000, 400
LOOPS = 512
# As many as numpy likes best: each call to it costs the same.
NUMPY_LOOPS, NUMPY_TICKS = 16_384, 100
SEED = 2_718

COMPILED, WHOLE, LANES = "compiled", "compiled, whole call", "lanes"
ALL_CORES = "lanes, all cores"
C_NATIVE, C_PLAIN = "C -O3 -march=native", "C -O3"
PLAIN, SOLVE_IVP = "plain Python", "scipy solve_ivp"
CONTROL_SOLVER = "python-control, its solver"
CONTROL_STEPS = "python-control, plant by hand"
NUMPY = "numpy batch"


def single_race() -> list[Entrant]:
    """One loop of the case: compiled, in C, plain, on general libraries."""
    case = load_case()
    long, short = with_ticks(case, LONG_TICKS), with_ticks(case, SHORT_TICKS)
    return [
        *_recorded(make_rig(long), long, short),
        *_in_c(make_rig(long)),
        *_general(short),
    ]


def _recorded(rig: Rig, long: Scenario, short: Scenario) -> list[Entrant]:
    """Time the machine code, the whole call, and plain Python."""
    _, right = record(rig, long.ticks)
    _, right_run = run_whole(long)
    _, short_run = run_whole(short)

    def compiled() -> float:
        took_s, answer = record(rig, long.ticks)
        check_same(COMPILED, answer, right)
        return took_s

    def whole() -> float:
        took_s, run = run_whole(long)
        check_run(WHOLE, run, right_run)
        return took_s

    def plain() -> float:
        took_s, run = run_plain(short)
        check_run(PLAIN, run, short_run)
        return took_s

    return [
        Entrant(COMPILED, long.ticks, compiled),
        Entrant(WHOLE, long.ticks, whole),
        Entrant(PLAIN, short.ticks, plain),
    ]


def _in_c(rig: Rig) -> list[Entrant]:
    _, right = record(rig, rig.ticks)

    def entrant(name: str, loop: CLoop) -> Entrant:
        def go() -> float:
            took_s, answer = loop.run(rig, rig.ticks)
            check_same(name, answer, right)
            return took_s

        return Entrant(name, rig.ticks, go)

    return [entrant(C_NATIVE, c_loop(NATIVE)), entrant(C_PLAIN, c_loop())]


def _general(short: Scenario) -> list[Entrant]:
    rig = make_rig(short)
    _, right = record(rig, short.ticks)
    low_pa, high_pa = short.pressure_range_pa
    bound_pa = BOUND * (high_pa - low_pa)

    def entrant(name: str, run: Callable[[], tuple[float, Answer]]) -> Entrant:
        def go() -> float:
            took_s, answer = run()
            check_close(name, answer, right, bound_pa)
            return took_s

        return Entrant(name, short.ticks, go)

    return [
        entrant(SOLVE_IVP, lambda: run_solve_ivp(short, short.ticks)),
        entrant(CONTROL_SOLVER, lambda: run_control_solver(short, short.ticks)),
        entrant(
            CONTROL_STEPS,
            lambda: run_control_steps(short, short.ticks, rig.substeps),
        ),
    ]


def batch_race() -> list[Entrant]:
    """Many drawn loops of the case on one core: lanes, C one by one, numpy."""
    loops = _watched(draw_scenarios(load_case(), LOOPS, SEED))
    c = c_loop(NATIVE)
    answers = [c.run(loop.rig, loop.rig.ticks)[1] for loop in loops]

    def in_c() -> float:
        took_s = 0.0
        for loop, right in zip(loops, answers, strict=True):
            one_s, answer = c.run(loop.rig, loop.rig.ticks)
            check_same(C_NATIVE, answer, right)
            took_s += one_s
        return took_s

    return [
        _in_lanes(LANES, loops, answers),
        Entrant(C_NATIVE, sum(loop.rig.ticks for loop in loops), in_c),
        _in_numpy(),
    ]


def _watched(scenarios: Iterable[Scenario]) -> list[Watched]:
    return [watch_steps(scenario, make_rig(scenario)) for scenario in scenarios]


def _in_lanes(
    name: str,
    loops: Sequence[Watched],
    answers: Sequence[Answer],
    workers: int = 1,
    clock: Callable[[], float] = core_clock,
) -> Entrant:
    right = [
        marks_of(loop.windows, answer)
        for loop, answer in zip(loops, answers, strict=True)
    ]

    def go() -> float:
        took_s, marks = run_lanes(loops, workers, clock)
        check_marks(name, marks, right)
        return took_s

    # The pressure of the record's last tick ends a window; lanes need no more.
    last = [loop.windows[-1] for loop in loops]
    return Entrant(name, sum(window.first + window.ticks for window in last), go)


def _in_numpy() -> Entrant:
    scenarios = draw_scenarios(load_case(), NUMPY_LOOPS, SEED)
    rigs = [make_rig(scenario) for scenario in scenarios]
    answers = [record(rig, NUMPY_TICKS)[1] for rig in rigs]
    right = Answer(
        np.stack([answer.load_pa for answer in answers], axis=-1),
        np.stack([answer.drive for answer in answers], axis=-1),
        np.stack([answer.words for answer in answers], axis=-1),
    )

    def go() -> float:
        took_s, answer = run_numpy(rigs, NUMPY_TICKS)
        check_same(NUMPY, answer, right)
        return took_s

    return Entrant(NUMPY, NUMPY_LOOPS * NUMPY_TICKS, go)


def cores_race() -> list[Entrant]:
    """The same drawn loops on one core and on all."""
    loops = _watched(draw_scenarios(load_case(), LOOPS, SEED))
    answers = [record(loop.rig, loop.rig.ticks)[1] for loop in loops]
    return [
        _in_lanes(LANES, loops, answers, 1, perf_counter),
        _in_lanes(ALL_CORES, loops, answers, os.cpu_count() or 1, perf_counter),
    ]


def chain_race() -> list[Entrant]:
    """The shipped press: compiled, in lanes, plain; it has no peer."""
    chain = load_chain()
    long, short = with_ticks(chain, LONG_TICKS), with_ticks(chain, SHORT_TICKS)
    loops = _watched(draw_scenarios(chain, LOOPS, SEED))
    answers = [record(loop.rig, loop.rig.ticks)[1] for loop in loops]
    return [
        *_recorded(make_rig(long), long, short),
        _in_lanes(LANES, loops, answers),
    ]
