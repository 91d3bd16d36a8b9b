"""Steps of many loops measured while they run, in the terms of `step_metrics`."""

import math
from collections import deque
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from host_sim.errors import InputError
from host_sim.loop.batch import Watched, Window, run_batch
from host_sim.loop.rig import FloatArray, Rig
from host_sim.loop.watch import (
    ABSOLUTE_ERROR,
    AIR_AT_START,
    AIR_NOW,
    ENTRY_1,
    ENTRY_2,
    ENTRY_5,
    ENTRY_BAND,
    PEAK,
    REACH_10,
    REACH_50,
    REACH_90,
    REVERSALS,
    TAIL_COUNT,
    TAIL_SUM,
    TOTAL,
    TRAVEL,
)
from host_sim.measure.answer import find_steps
from host_sim.scenario.load import Scenario
from host_sim.scenario.profile import ROUNDING_TICKS

BoolArray = npt.NDArray[np.bool_]
Figure = float | FloatArray


@dataclass(frozen=True)
class WatchedStep:
    """One step of a loop, or of many; NaN stands for what never came.

    The numbers are those of `StepMetrics` and `OutputMetrics` to rounding, but
    for two: the steady error is the mean over the ticks of the last tenth,
    still moving or not, and the integral has the final level for its set point.
    """

    t50_s: Figure
    rise_time_s: Figure
    overshoot_percent: Figure
    settling_5_s: Figure
    settling_2_s: Figure
    settling_1_s: Figure
    settling_band_s: Figure
    steady_error_pa: Figure
    iae_pa_s: Figure
    travel_strokes: Figure
    reversals: Figure
    air_used_kg: Figure


def watch_steps(scenario: Scenario, rig: Rig) -> Watched:
    """Choose what to watch: every step of the command worth the name.

    Parameters
    ----------
    scenario : Scenario
    rig : Rig
        Of it.

    Returns
    -------
    Watched

    Raises
    ------
    InputError
        The command has no step.
    """
    steps, _ = find_steps(scenario, scenario.ticks)
    if not steps:
        raise InputError(
            "profile: no step of 1 % that lasts 10 ticks; give the command one"
        )
    low_pa, high_pa = scenario.pressure_range_pa
    band_pa = scenario.settle_band * (high_pa - low_pa)
    starts = [_tick_of(scenario, time_s) for time_s, _, _ in steps]
    # The tick of the next step, or the last of the record, belongs to a window.
    ends = [*starts[1:], scenario.ticks - 1]
    windows = tuple(
        Window(first, end - first, from_pa, to_pa, band_pa / abs(to_pa - from_pa))
        for first, end, (_, from_pa, to_pa) in zip(starts, ends, steps, strict=True)
    )
    return Watched(rig, windows)


def _tick_of(scenario: Scenario, time_s: float) -> int:
    return math.ceil(time_s / scenario.law.tick_s - ROUNDING_TICKS)


def measure_batch(
    loops: Iterable[Watched], workers: int | None = None
) -> Iterator[list[WatchedStep] | None]:
    """Run loops side by side and measure their steps.

    Parameters
    ----------
    loops : iterable of Watched
        Taken as needed; may be endless.
    workers : int, optional
        Threads; one for each processor unless given.

    Yields
    ------
    list of WatchedStep, or None
        One for each window; None where the plant gave a number that is not
        finite.
    """
    queue: deque[Watched] = deque()

    def remembered() -> Iterator[Watched]:
        for loop in loops:
            queue.append(loop)
            yield loop

    for marks in run_batch(remembered(), workers):
        loop = queue.popleft()
        if is_finite(marks).all():
            yield [
                _one(measured(found, window.to_pa - window.from_pa, loop.rig.tick_s))
                for window, found in zip(loop.windows, marks, strict=True)
            ]
        else:
            yield None


def _one(step: WatchedStep) -> WatchedStep:
    return WatchedStep(**{name: float(figure) for name, figure in vars(step).items()})


def measured(marks: FloatArray, size_pa: float, tick_s: float) -> WatchedStep:
    """Turn marks into figures with units.

    Parameters
    ----------
    marks : ndarray, shape (..., marks)
        Of the same window of any number of loops.
    size_pa : float
        Step, with its sign [Pa].
    tick_s : float

    Returns
    -------
    WatchedStep
        Of arrays of shape (...).
    """

    def seconds(mark: int) -> FloatArray:
        ticks = marks[..., mark]
        return np.where(ticks < 0.0, np.nan, ticks * tick_s)

    return WatchedStep(
        t50_s=seconds(REACH_50),
        rise_time_s=seconds(REACH_90) - seconds(REACH_10),
        overshoot_percent=100.0 * np.maximum(0.0, marks[..., PEAK] - 1.0),
        settling_5_s=seconds(ENTRY_5),
        settling_2_s=seconds(ENTRY_2),
        settling_1_s=seconds(ENTRY_1),
        settling_band_s=seconds(ENTRY_BAND),
        steady_error_pa=size_pa * (1.0 - marks[..., TAIL_SUM] / marks[..., TAIL_COUNT]),
        iae_pa_s=abs(size_pa) * tick_s * marks[..., ABSOLUTE_ERROR],
        travel_strokes=marks[..., TRAVEL],
        reversals=marks[..., REVERSALS],
        air_used_kg=marks[..., AIR_NOW] - marks[..., AIR_AT_START],
    )


def is_finite(marks: FloatArray) -> BoolArray:
    """Tell of which loops every number was finite; shape (...)."""
    finite: BoolArray = np.isfinite(marks[..., TOTAL])
    return finite
