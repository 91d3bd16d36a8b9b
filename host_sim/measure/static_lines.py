"""Straight lines through an error curve, each with what it leaves over.

All three fits of a line are linear programs or sums, so none depends on a start
value. Errors stand in percent of the output span over the input in percent of
the input span; a line added to both changes no independent linearity.
"""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import linprog

from host_sim.measure.curve import FloatArray


@dataclass(frozen=True)
class Line:
    """A line ``error = intercept + tilt * input``, and the curve about it.

    Attributes
    ----------
    intercept_percent : float
        Error of the line at 0 % input [% of span].
    tilt : float
        Percent of span of error for each percent of input [-].
    above_percent, below_percent : float
        Furthest points of the curve above the line (0 or more) and below it
        (0 or less) [% of span].
    """

    intercept_percent: float
    tilt: float
    above_percent: float
    below_percent: float

    @property
    def linearity_percent(self) -> float:
        """Largest distance of the curve from the line [% of span]."""
        return max(self.above_percent, -self.below_percent)


def _line(
    input_percent: FloatArray, error_percent: FloatArray, intercept: float, tilt: float
) -> Line:
    left = error_percent - intercept - tilt * input_percent
    return Line(
        intercept_percent=intercept,
        tilt=tilt,
        above_percent=max(float(left.max()), 0.0),
        below_percent=min(float(left.min()), 0.0),
    )


def terminal_line(input_percent: FloatArray, error_percent: FloatArray) -> Line:
    """Draw the line through both end points.

    Parameters
    ----------
    input_percent, error_percent : ndarray, shape (n,)
        Inputs strictly increasing, n >= 3 [% of span].

    Returns
    -------
    Line

    Notes
    -----
    Source: term of IEC 61298-2 and ISA-51.1, definition from memory.

    Examples
    --------
    >>> x, bow = np.array([0.0, 50.0, 100.0]), np.array([0.0, 0.5, 0.0])
    >>> terminal_line(x, bow).linearity_percent
    0.5
    """
    run = input_percent[-1] - input_percent[0]
    tilt = float((error_percent[-1] - error_percent[0]) / run)
    intercept = float(error_percent[0] - tilt * input_percent[0])
    # Both ends lie on the line; rounding would leave 1e-17 there.
    return _line(input_percent[1:-1], error_percent[1:-1], intercept, tilt)


def independent_line(input_percent: FloatArray, error_percent: FloatArray) -> Line:
    """Find the line whose largest distance from the curve is least.

    ``min over a, s of max |error - a - s input|``, a linear program.

    Parameters
    ----------
    input_percent, error_percent : ndarray, shape (n,)
        Inputs strictly increasing, n >= 2 [% of span].

    Returns
    -------
    Line

    Notes
    -----
    Source: term of IEC 61298-2 and ISA-51.1, definition from memory.

    Examples
    --------
    >>> x, bow = np.array([0.0, 50.0, 100.0]), np.array([0.0, 0.5, 0.0])
    >>> independent_line(x, bow).linearity_percent
    0.25
    """
    terms = np.column_stack((np.ones_like(input_percent), input_percent))
    intercept, tilt = _least_largest(terms, error_percent)
    return _line(input_percent, error_percent, intercept, tilt)


def zero_based_line(input_percent: FloatArray, error_percent: FloatArray) -> Line:
    """Find the best line that keeps the point of the lowest input.

    ``min over s of max |error - error_0 - s (input - input_0)|``.

    Parameters
    ----------
    input_percent, error_percent : ndarray, shape (n,)
        Inputs strictly increasing, n >= 2 [% of span].

    Returns
    -------
    Line

    Notes
    -----
    Source: term of IEC 61298-2 and ISA-51.1, definition from memory.

    Examples
    --------
    >>> x, bow = np.array([0.0, 50.0, 100.0]), np.array([0.0, 0.5, 0.0])
    >>> zero_based_line(x, bow).linearity_percent
    0.3333333
    """
    run, rise = input_percent - input_percent[0], error_percent - error_percent[0]
    (tilt,) = _least_largest(run[:, None], rise)
    intercept = float(error_percent[0] - tilt * input_percent[0])
    return _line(input_percent, error_percent, intercept, tilt)


def least_squares_line(input_percent: FloatArray, error_percent: FloatArray) -> Line:
    """Find the line with the least sum of squared distances.

    Parameters
    ----------
    input_percent, error_percent : ndarray, shape (n,)
        Inputs strictly increasing, n >= 2 [% of span].

    Returns
    -------
    Line

    Notes
    -----
    Source: common practice.

    Examples
    --------
    >>> x, bow = np.array([0.0, 50.0, 100.0]), np.array([0.0, 0.5, 0.0])
    >>> least_squares_line(x, bow).linearity_percent
    0.3333333
    """
    tilt, intercept = np.polyfit(input_percent, error_percent, 1)
    return _line(input_percent, error_percent, float(intercept), float(tilt))


def _least_largest(terms: FloatArray, wanted: FloatArray) -> list[float]:
    """Find the coefficients that make the largest ``|wanted - terms c|`` least."""
    # The solver's tolerances are absolute, so both sides go to a size of 1.
    size = float(np.abs(wanted).max())
    if size == 0.0:
        return [0.0] * terms.shape[1]
    widths = np.abs(terms).max(axis=0)
    scaled, target = terms / widths, wanted / size
    slack = -np.ones((len(target), 1))
    found = linprog(
        c=[0.0] * terms.shape[1] + [1.0],
        A_ub=np.block([[scaled, slack], [-scaled, slack]]),
        b_ub=np.concatenate((target, -target)),
        bounds=[(None, None)] * (terms.shape[1] + 1),
    )
    coefficients: list[float] = (found.x[:-1] * size / widths).tolist()
    return coefficients
