"""The terms of a calibration: inaccuracy, hysteresis, linearity and the rest.

Terms as IEC 61298-2, IEC 60770-1 and ISA-51.1 use them. The standards were not
opened; the definitions are from memory and stand in each docstring. All results
are in percent of the output span unless they say otherwise; errors are reading
minus ideal, so that + means too much pressure, reverse acting or not.
"""

from dataclasses import dataclass

import numpy as np

from host_sim.errors import InputError
from host_sim.measure.curve import FloatArray
from host_sim.measure.static_lines import (
    Line,
    independent_line,
    least_squares_line,
    terminal_line,
    zero_based_line,
)
from host_sim.measure.static_table import StaticTable

LINES = {
    "independent": independent_line,
    "terminal": terminal_line,
    "zero_based": zero_based_line,
    "least_squares": least_squares_line,
}
"""How the line of each linearity is drawn."""
AT_END = 1.0
"""An end point this close to 0 or 100 % input tells zero and span [%]."""


@dataclass(frozen=True)
class Peak:
    """The largest of something and the input at which it was found."""

    percent: float
    at_input_percent: float


@dataclass(frozen=True)
class StaticEvaluation:
    """All that a table of cycles tells; None where it cannot.

    Attributes
    ----------
    input_percent : ndarray, shape (points,)
        Where the curves below have their points [% of input span].
    average_up_percent, average_down_percent : ndarray or None
        Measured (average) errors, each way alone.
    average_percent : ndarray
        The average curve: half the sum of both, or the one there is.
    above, below : Peak
        Largest positive error of any reading (0 or more) and largest negative
        (0 or less).
    measured_error : Peak
        Largest, by size, of the average errors up and down, with its sign.
    hysteresis : Peak or None
        Largest difference of the averages down and up, dead band included.
    hysteresis_cycle : Peak or None
        The same, of the worst single cycle.
    hysteresis_alone_percent : float or None
        ``hysteresis`` less the dead band; None without a dead band.
    dead_band_percent : float or None
        As given [% of input span].
    repeatability : Peak or None
        Largest spread of readings at one point from one direction.
    lines : dict of str to Line
        Through the average curve, by the linearity's name: "independent",
        "terminal", "zero_based", "least_squares".
    zero_error_percent, span_error_percent : float or None
        Average error at 0 % input; average error at 100 % less that.
    notes : tuple of str
        What could not be answered, and why.
    """

    input_percent: FloatArray
    average_up_percent: FloatArray | None
    average_down_percent: FloatArray | None
    average_percent: FloatArray
    above: Peak
    below: Peak
    measured_error: Peak
    hysteresis: Peak | None
    hysteresis_cycle: Peak | None
    hysteresis_alone_percent: float | None
    dead_band_percent: float | None
    repeatability: Peak | None
    lines: dict[str, Line]
    zero_error_percent: float | None
    span_error_percent: float | None
    notes: tuple[str, ...]

    @property
    def inaccuracy_percent(self) -> float:
        """Largest error of any reading, by size [% of span]."""
        return max(self.above.percent, -self.below.percent)


def evaluate_static(
    table: StaticTable, dead_band_percent: float | None = None
) -> StaticEvaluation:
    """Evaluate a calibration.

    Parameters
    ----------
    table : StaticTable
        Readings up and down.
    dead_band_percent : float, optional
        Dead band found by a test of its own, to tell hysteresis alone [% of
        input span].

    Returns
    -------
    StaticEvaluation

    Raises
    ------
    InputError
        A dead band that is negative or not finite.

    Notes
    -----
    Source: terms of IEC 61298-2, IEC 60770-1 and ISA-51.1, from memory; the
    standards were not opened.
    """
    _check_dead_band(dead_band_percent)
    notes: list[str] = []
    points = table.input_percent
    up, down = (table.errors_percent(rising=way) for way in (True, False))
    averages = [way.mean(axis=0) if len(way) else None for way in (up, down)]
    average = np.mean([way for way in averages if way is not None], axis=0)
    hysteresis, worst_cycle = _hysteresis(points, up, down, notes)
    zero_percent, span_percent = _ends(points, average, notes)
    alone = None
    if hysteresis and dead_band_percent is not None:
        alone = max(hysteresis.percent - dead_band_percent, 0.0)
    readings = np.concatenate([way for way in (up, down) if len(way)])
    return StaticEvaluation(
        input_percent=points,
        average_up_percent=averages[0],
        average_down_percent=averages[1],
        average_percent=average,
        above=_peak(points, np.maximum(readings, 0.0)),
        below=_peak(points, np.minimum(readings, 0.0)),
        measured_error=_peak(points, np.array([w for w in averages if w is not None])),
        hysteresis=hysteresis,
        hysteresis_cycle=worst_cycle,
        hysteresis_alone_percent=alone,
        dead_band_percent=dead_band_percent,
        repeatability=_repeatability(points, up, down, notes),
        lines={name: draw(points, average) for name, draw in LINES.items()},
        zero_error_percent=zero_percent,
        span_error_percent=span_percent,
        notes=tuple(notes),
    )


def _check_dead_band(dead_band_percent: float | None) -> None:
    if dead_band_percent is not None and not 0.0 <= dead_band_percent < np.inf:
        raise InputError(
            f"dead band: {dead_band_percent:g} % of input span; must be 0 or more and "
            "finite; give the change of input that moves nothing"
        )


def _peak(points: FloatArray, rows: FloatArray) -> Peak:
    """Find the largest by size of rows over the points, with its sign."""
    flat = rows.reshape(-1, len(points))
    # Of equals the first is named, whatever their last binary digits.
    sizes = np.round(np.abs(flat), 9)
    row, column = np.unravel_index(int(np.argmax(sizes)), flat.shape)
    # Adding zero turns a minus zero into a plain one.
    return Peak(float(flat[row, column]) + 0.0, float(points[column]))


def _hysteresis(
    points: FloatArray, up: FloatArray, down: FloatArray, notes: list[str]
) -> tuple[Peak | None, Peak | None]:
    if not (len(up) and len(down)):
        way = "down" if len(up) else "up"
        notes.append(f"no hysteresis: no reading on the way {way}")
        return None, None
    averages = _peak(points, np.abs(down.mean(axis=0) - up.mean(axis=0)))
    cycles = min(len(up), len(down))
    if len(up) != len(down):
        notes.append(
            f"worst single cycle among the first {cycles}: {len(up)} ways up, "
            f"{len(down)} down"
        )
    return averages, _peak(points, np.abs(down[:cycles] - up[:cycles]))


def _repeatability(
    points: FloatArray, up: FloatArray, down: FloatArray, notes: list[str]
) -> Peak | None:
    spreads = [np.ptp(way, axis=0) for way in (up, down) if len(way) > 1]
    if not spreads:
        notes.append("no repeatability: no way was travelled twice")
        return None
    return _peak(points, np.array(spreads))


def _ends(
    points: FloatArray, average: FloatArray, notes: list[str]
) -> tuple[float | None, float | None]:
    zero, full = abs(points[0]) <= AT_END, abs(points[-1] - 100.0) <= AT_END
    zero_percent = float(average[0]) if zero else None
    span_percent = float(average[-1] - average[0]) if zero and full else None
    if not (zero and full):
        notes.append(
            f"points from {points[0]:g} to {points[-1]:g} % of input: zero and span "
            "error need points at 0 and 100 %; the linearities are those of this part"
        )
    return zero_percent, span_percent
