"""The project's own engines, as the benchmarks time them."""

from collections.abc import Callable, Sequence

import numpy as np

from bench.host_answer import Answer, FloatArray, WrongAnswerError
from bench.host_timing import core_clock
from host_sim.law.controller import STATE_SLOT, Controller
from host_sim.loop.batch import Watched, Window, run_batch
from host_sim.loop.compiled import run_compiled
from host_sim.loop.loop import run_scenario
from host_sim.loop.native import recorder
from host_sim.loop.record import LAW_COLUMNS, Run, slots_of_view
from host_sim.loop.rig import Rig
from host_sim.loop.watch import LAST, TOTAL, TRAVEL
from host_sim.plant.layout import LOAD
from host_sim.scenario.load import Scenario

CHECKED = (LAST, TOTAL, TRAVEL)
"""Marks that depend on every pressure and every drive of a window."""


def record(rig: Rig, ticks: int) -> tuple[float, Answer]:
    """Run the compiled loop, recording all that `run_compiled` records.

    Returns
    -------
    float
        Seconds that the machine code took.
    Answer
    """
    word_slots, view_slots = recorded_slots(rig)
    code = recorder(rig.shape, word_slots, view_slots)
    views, flows = np.empty((ticks, len(view_slots))), np.empty((ticks, 2))
    given = {
        **rig.arguments(),
        "first": 0,
        "ticks": ticks,
        "word_record": np.empty((ticks, len(word_slots)), dtype=np.int32),
        "view_record": views,
        "flow_record": flows,
    }
    began = core_clock()
    code(given)
    took_s = core_clock() - began
    load_pa = views[:, view_slots.index(LOAD)].copy()
    return took_s, Answer(load_pa, flows[:, 0].copy(), given["words"][:, 0].copy())


def recorded_slots(rig: Rig) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """List what `run_compiled` records of the law's words and the plant's view."""
    attributes = [vars(Controller)[name] for name in LAW_COLUMNS.values()]
    words = (*(attribute.slot for attribute in attributes), STATE_SLOT["FAULTS"])
    return words, tuple(slots_of_view(len(rig.body["view"])).values())


def run_whole(scenario: Scenario) -> tuple[float, Run]:
    """Run a scenario compiled, from its settings to its columns."""
    began = core_clock()
    run = run_compiled(scenario)
    return core_clock() - began, run


def run_plain(scenario: Scenario) -> tuple[float, Run]:
    """Run a scenario in plain Python."""
    began = core_clock()
    run = run_scenario(scenario)
    return core_clock() - began, run


def check_run(who: str, found: Run, expected: Run) -> None:
    """Ask for the same columns, bit for bit.

    Raises
    ------
    WrongAnswerError
    """
    for name, column in expected.columns.items():
        if found.columns[name].tobytes() != column.tobytes():
            raise WrongAnswerError(f"{who}: {name} differs")


def run_lanes(
    loops: Sequence[Watched], workers: int, clock: Callable[[], float] = core_clock
) -> tuple[float, list[FloatArray]]:
    """Run loops that are ready side by side."""
    began = clock()
    marks = list(run_batch(loops, workers))
    return clock() - began, marks


def marks_of(windows: Sequence[Window], answer: Answer) -> FloatArray:
    """Find from a whole record what the lanes should have found.

    Parameters
    ----------
    windows : sequence of Window
    answer : Answer
        Of one loop, to the tick after the last window.

    Returns
    -------
    ndarray, shape (windows, 3)
        The marks `CHECKED`.
    """
    rows = []
    for window in windows:
        end = window.first + window.ticks
        span_pa = window.to_pa - window.from_pa
        progress = (answer.load_pa[window.first : end + 1] - window.from_pa) / span_pa
        moves = np.abs(np.diff(answer.drive[window.first : end]))
        # A running sum adds in the order of the ticks, as the lanes do.
        rows.append((progress[-1], progress.cumsum()[-1], moves.cumsum()[-1]))
    return np.array(rows)


def check_marks(
    who: str, found: Sequence[FloatArray], expected: Sequence[FloatArray]
) -> None:
    """Ask for the same marks, bit for bit.

    Raises
    ------
    WrongAnswerError
    """
    for number, (marks, right) in enumerate(zip(found, expected, strict=True)):
        if marks[:, CHECKED].tobytes() != right.tobytes():
            raise WrongAnswerError(f"{who}: marks of loop {number} differ")
