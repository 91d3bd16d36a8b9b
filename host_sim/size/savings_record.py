"""A response recorded by a logger: time, command current and pressure.

`scenario.recording` reads time and current with all its checks; the pressure
column of the same rows is read here, and the steps are found in the current.
"""

import csv
from itertools import pairwise
from pathlib import Path

import numpy as np
import numpy.typing as npt

from host_sim.law.settings import Command
from host_sim.scenario.recording import read_recording, read_text
from host_sim.scenario.refusal import refusal
from host_sim.scenario.units import Basis, parse

FloatArray = npt.NDArray[np.float64]
Step = tuple[float, float, float]
"""Time [s], set point before and after [Pa]."""

# A current that moves by less than this share of the range is noise.
DEADBAND = 0.005
SMALLEST_STEP = 0.01
# Moves in one direction, this many rows apart or less, are one ramp.
LONGEST_PAUSE_ROWS = 20
SHORTEST_STEP_ROWS = 10

_PRESSURES = ("pressure", "p", "load", "load pressure")


def read_pressure_pa(path: Path, basis: Basis) -> tuple[FloatArray, str]:
    """Read the pressure column that stands beside time and current.

    Parameters
    ----------
    path : Path
        A file that `read_recording` accepts. The column is called "pressure [bar
        gauge]", with any unit that says gauge or absolute, or "load_pa" for
        absolute pascals.
    basis : Basis
        The atmosphere under gauge pressures.

    Returns
    -------
    ndarray, shape (rows,)
        Absolute pressure [Pa].
    str
        The column's unit, for people.

    Raises
    ------
    InputError
        No such column, or a cell that is no pressure, named by its row.

    Notes
    -----
    Source: common practice of data loggers.
    """
    lines = read_text(path).splitlines()
    first = next(number for number, line in enumerate(lines) if line.strip())
    separator = next((mark for mark in ";\t" if mark in lines[first]), ",")
    rows = list(csv.reader(lines[first:], delimiter=separator))
    position, unit = _find_pressure(rows[0], f"{path}: row {first + 1}")
    pressure_pa = []
    for number, row in enumerate(rows[1:], first + 2):
        if not "".join(row).strip():
            continue
        where = f"{path}: row {number}, pressure"
        cell = row[position].strip() if position < len(row) else ""
        if not cell:
            raise refusal(where, None, "no pressure", "fill the cell or drop the row")
        if separator != ",":
            cell = cell.replace(",", ".")
        pressure_pa.append(parse(f"{cell} {unit}", "pressure", where, basis))
    return np.array(pressure_pa), unit


def _find_pressure(heading: list[str], where: str) -> tuple[int, str]:
    for position, cell in enumerate(heading):
        name, _, rest = cell.strip().partition("[")
        if name.strip().lower() == "load_pa":
            return position, "Pa absolute"
        if name.strip().replace("_", " ").lower() in _PRESSURES and rest:
            unit = rest.rpartition("]")[0].strip()
            parse(f"1 {unit}", "pressure", f"{where}, {cell!r}")
            return position, unit
    remedy = "name one 'pressure [bar gauge]'"
    raise refusal(where, ", ".join(heading), "no column of pressure", remedy)


def read_record(
    path: Path, range_pa: tuple[float, float], basis: Basis
) -> tuple[FloatArray, FloatArray, list[Step], str, tuple[str, ...]]:
    """Read a recorded response and find the steps of its set point.

    Parameters
    ----------
    path : Path
        A logger's CSV file.
    range_pa : (float, float)
        Absolute set point at 4 mA and at 20 mA [Pa].
    basis : Basis
        The atmosphere under gauge pressures.

    Returns
    -------
    time_s, pressure_pa : ndarray, shape (rows,)
        From 0 [s], absolute [Pa].
    steps : list of Step
    unit : str
        The unit of the pressure column.
    notes : tuple of str
        What a reader should know of rate, jitter and gaps.

    Raises
    ------
    InputError
        As `read_recording` and `read_pressure_pa`.

    Notes
    -----
    Source: common practice.
    """
    profile = read_recording(path)
    pressure_pa, unit = read_pressure_pa(path, basis)
    time_s, command = np.array(profile.times_s), Command()
    setpoint = np.array([command.setpoint(ma) for ma in profile.currents_ma])
    at_4_ma_pa, at_20_ma_pa = range_pa
    steps = [
        (
            float(time_s[row]),
            at_4_ma_pa + before * (at_20_ma_pa - at_4_ma_pa),
            at_4_ma_pa + after * (at_20_ma_pa - at_4_ma_pa),
        )
        for row, before, after in find_steps(setpoint)
    ]
    return time_s, pressure_pa, steps, unit, profile.notes


def find_steps(setpoint: FloatArray) -> list[tuple[int, float, float]]:
    """Find the steps of a sampled, perhaps noisy, set point.

    The level held follows the samples only when they leave it by more than
    ``DEADBAND``; moves in one direction at most 20 rows apart are one step; a
    step is at least 1 % of the range and lasts at least 10 rows. Levels are
    means from one move to the next.

    Parameters
    ----------
    setpoint : ndarray, shape (n,)
        Fraction of the range, n >= 1.

    Returns
    -------
    list of (int, float, float)
        Row at which the step begins, level before and after.

    Notes
    -----
    Source: as `measure.answer.find_steps` does for a simulated command.

    Examples
    --------
    >>> find_steps(np.array([0.0] * 10 + [0.5] * 10))
    [(10, 0.0, 0.5)]
    """
    moves = _moves(setpoint.tolist())
    starts = [*(start for start, _ in moves), setpoint.size]
    ends = [0, *(end for _, end in moves)]
    levels = [
        float(setpoint[end:start].mean())
        for end, start in zip(ends, starts, strict=True)
    ]
    lasting = [after - start for start, after in pairwise(starts)]
    return [
        (start, before, after)
        for (start, _), (before, after), rows in zip(
            moves, pairwise(levels), lasting, strict=True
        )
        if abs(after - before) >= SMALLEST_STEP and rows >= SHORTEST_STEP_ROWS
    ]


def _moves(levels: list[float]) -> list[tuple[int, int]]:
    """List first and last row of each move off the held level."""
    moves: list[tuple[int, int]] = []
    held, rising = levels[0], False
    for row, level in enumerate(levels):
        if abs(level - held) <= DEADBAND:
            continue
        same_way = (level > held) is rising
        if moves and same_way and row - moves[-1][1] <= LONGEST_PAUSE_ROWS:
            moves[-1] = (moves[-1][0], row)
        else:
            moves.append((row, row))
        held, rising = level, level > held
    return moves
