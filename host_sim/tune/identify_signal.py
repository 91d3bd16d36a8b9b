"""What a recorded signal is made of: noise, levels, steps."""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from host_sim.measure.curve import FloatArray
from host_sim.tune.models import HeldInput
from host_sim.tune.record import Record

BoolArray = npt.NDArray[np.bool_]

# Median of |x| over standard deviation for a normal distribution.
_MEDIAN_SHARE = 0.6745
# White noise of variance 1 has second differences of variance 6.
_SECOND_DIFFERENCES = 6.0
_LEVEL_SIGMAS = 6.0
_LEAST_LEVELS = 8
_GRID_SLACK = 0.1
_PAUSE_INTERVALS = 3.0
_SMALLEST_STEP = 0.02


def noise_of(values: FloatArray) -> float:
    """Estimate the deviation of white noise on a slow signal.

    From the median of the second differences, so that neither slopes nor a few
    steps count.

    >>> noise_of(np.array([0.0, 1.0, 2.0, 3.0, 9.0, 10.0, 11.0, 12.0]))
    0.0
    """
    bends = np.abs(np.diff(values, 2))
    return float(np.median(bends)) / _MEDIAN_SHARE / math.sqrt(_SECOND_DIFFERENCES)


def quantum_of(values: FloatArray) -> float:
    """Distance of the levels on which all values lie, or 0.

    Fewer than 8 different values tell nothing.

    >>> quantum_of(np.round(np.linspace(0.0, 1.0, 50) / 0.04) * 0.04)
    0.04
    """
    levels = np.unique(values)
    if len(levels) < _LEAST_LEVELS:
        return 0.0
    gaps = np.diff(levels)
    smallest = float(gaps.min())
    counts = np.round(gaps / smallest)
    if np.abs(gaps / smallest - counts).max() > _GRID_SLACK:
        return 0.0
    return float((levels[-1] - levels[0]) / counts.sum())


def recorded_noise_pa(record: Record) -> float:
    """Noise of a recorded pressure, at least its resolution's [Pa]."""
    pressure_pa = record.pressure_pa
    return max(noise_of(pressure_pa), quantum_of(pressure_pa) / math.sqrt(12.0))


def held_input(record: Record) -> HeldInput:
    """Read an input as levels that hold from one change to the next.

    A row that is further from the level than the input's noise begins a new
    one; a level is the mean of its rows. A change counts as made half way
    between its row and the row before: where in between, no record tells.

    Parameters
    ----------
    record : Record

    Returns
    -------
    HeldInput
        Without any change if the input stands still.
    """
    values = record.input
    slack = max(_LEVEL_SIGMAS * noise_of(values), 1e-9 * float(np.ptp(values)))
    starts, total, count = [0], float(values[0]), 1
    for row, value in enumerate(values.tolist()[1:], start=1):
        if abs(value - total / count) > slack:
            starts.append(row)
            total, count = 0.0, 0
        total, count = total + value, count + 1
    levels = np.array([part.mean() for part in np.split(values, starts[1:])])
    rows = np.array(starts[1:], dtype=int)
    times_s = 0.5 * (record.time_s[rows] + record.time_s[rows - 1])
    return HeldInput(times_s, levels)


def recorded_input(record: Record) -> HeldInput:
    """Read an input as it was recorded, each row a level.

    Parameters
    ----------
    record : Record

    Returns
    -------
    HeldInput
        Changes half way between rows, as of `held_input`.
    """
    times_s = 0.5 * (record.time_s[1:] + record.time_s[:-1])
    return HeldInput(times_s, record.input)


def change_windows_s(record: Record, held: HeldInput) -> FloatArray:
    """Time between the two rows that enclose each change [s]."""
    after = np.searchsorted(record.time_s, held.times_s)
    return record.time_s[after] - record.time_s[after - 1]


def level_errors(record: Record, held: HeldInput) -> FloatArray:
    """Find the standard error of each level.

    Noise over the root of its rows.

    Parameters
    ----------
    record : Record
    held : HeldInput

    Returns
    -------
    ndarray
        One for each level [unit of input].
    """
    edges = np.searchsorted(record.time_s, held.times_s)
    rows = np.diff(np.concatenate(([0], edges, [len(record.time_s)])))
    errors: FloatArray = noise_of(record.input) / np.sqrt(rows)
    return errors


@dataclass(frozen=True)
class Step:
    """A move of the input: begin and end, from where to where."""

    start_s: float
    end_s: float
    before: float
    after: float

    @property
    def size(self) -> float:
        """Signed height [unit of input]."""
        return self.after - self.before


def find_steps(held: HeldInput, interval_s: float) -> list[Step]:
    """List the steps of an input.

    Changes in one direction at most 3 intervals apart are one step, as of a
    ramp; steps below 2 % of the whole travel do not count.

    Parameters
    ----------
    held : HeldInput
    interval_s : float
        Usual time from row to row [s].

    Returns
    -------
    list of Step
        In order of time.

    Examples
    --------
    >>> held = HeldInput(np.array([1.0, 1.1, 5.0]), np.array([0.0, 4.0, 6.0, 0.0]))
    >>> [(step.start_s, step.size) for step in find_steps(held, 0.1)]
    [(1.0, 6.0), (5.0, -6.0)]
    """
    steps: list[Step] = []
    pause_s = (_PAUSE_INTERVALS + 0.5) * interval_s
    moves = zip(held.times_s, held.levels[:-1], held.levels[1:], strict=True)
    for time_s, before, after in moves:
        last = steps[-1] if steps else None
        if (
            last is not None
            and time_s - last.end_s <= pause_s
            and (after - before) * last.size > 0.0
        ):
            steps[-1] = Step(last.start_s, float(time_s), last.before, float(after))
        else:
            steps.append(
                Step(float(time_s), float(time_s), float(before), float(after))
            )
    smallest = _SMALLEST_STEP * float(np.ptp(held.levels))
    return [step for step in steps if abs(step.size) > smallest]
