"""A sampled curve read between its samples: the tools of the metrics.

Every curve is taken as straight between samples, except at its highest point,
where a parabola through three samples removes most of the grid's error.
"""

import numpy as np
import numpy.typing as npt

from host_sim.errors import InputError

FloatArray = npt.NDArray[np.float64]

MINIMUM_SAMPLES = 3

# Step and sample times that differ by less than this share of the window are
# one instant written with different rounding; two samples that close would
# make slopes meaningless.
_SAME_INSTANT = 1e-9


def check_record(time_s: FloatArray, pressure_pa: FloatArray) -> None:
    """Refuse a record that no metric could be read from.

    Raises
    ------
    InputError
        Unequal lengths, not one-dimensional, fewer than 3 samples, a number
        that is not finite, or times that do not strictly increase.

    """
    if time_s.ndim != 1 or time_s.shape != pressure_pa.shape:
        raise InputError(
            f"pressure_pa: shape {pressure_pa.shape} against {time_s.shape} of "
            "time_s; both must be one row of equal length; "
            "give one pressure for each time"
        )
    if time_s.size < MINIMUM_SAMPLES:
        raise InputError(
            f"time_s: {time_s.size} samples; at least {MINIMUM_SAMPLES} are needed; "
            "record longer or sample faster"
        )
    for name, values in (("time_s", time_s), ("pressure_pa", pressure_pa)):
        bad = np.flatnonzero(~np.isfinite(values))
        if bad.size:
            raise InputError(
                f"{name}: sample {bad[0]} is {values[bad[0]]}; "
                "every sample must be finite; leave that sample out"
            )
    late = np.flatnonzero(np.diff(time_s) <= 0.0)
    if late.size:
        raise InputError(
            f"time_s: sample {late[0] + 1} at {time_s[late[0] + 1]:g} s is not later "
            "than the one before; times must strictly increase; "
            "sort the record or remove the repeated sample"
        )


def cut(
    time_s: FloatArray, values: FloatArray, start_s: float, end_s: float
) -> tuple[FloatArray, FloatArray]:
    """Return the curve from start to end, both ends interpolated.

    Examples
    --------
    >>> cut(np.array([0.0, 1.0, 2.0]), np.array([0.0, 10.0, 30.0]), 0.5, 2.0)
    (array([0.5, 1. , 2. ]), array([ 5., 10., 30.]))

    """
    slack_s = _SAME_INSTANT * (end_s - start_s)
    inside = (time_s > start_s + slack_s) & (time_s < end_s - slack_s)
    times_s = np.concatenate(([start_s], time_s[inside], [end_s]), dtype=np.float64)
    return times_s, np.interp(times_s, time_s, values)


def mean(time_s: FloatArray, values: FloatArray) -> float:
    """Average over time, ``integral(v dt) / (t_end - t_start)``."""
    areas = np.diff(time_s) * (values[1:] + values[:-1]) / 2.0
    return float(areas.sum() / (time_s[-1] - time_s[0]))


def _crossing_s(
    time_s: FloatArray, values: FloatArray, index: int, level: float
) -> float:
    """Time of the level on the straight line from sample index to the next."""
    share = (level - values[index]) / (values[index + 1] - values[index])
    return float(time_s[index] + share * (time_s[index + 1] - time_s[index]))


def first_rise_to(time_s: FloatArray, values: FloatArray, level: float) -> float | None:
    """Return when the curve first reaches the level from below.

    Returns
    -------
    float or None
        Time [s]; None if the level is never reached, or if the curve starts
        above it.

    Examples
    --------
    >>> first_rise_to(np.array([0.0, 1.0, 2.0]), np.array([0.0, 0.4, 0.8]), 0.5)
    1.25

    """
    reached = np.flatnonzero(values >= level)
    if reached.size == 0 or values[0] > level:
        return None
    if reached[0] == 0:
        return float(time_s[0])
    return _crossing_s(time_s, values, reached[0] - 1, level)


def last_entry_into(
    time_s: FloatArray, deviation: FloatArray, band: float
) -> float | None:
    """Return when the curve last comes into -band ... band to stay.

    Returns
    -------
    float or None
        Time [s]; the start if the curve is never outside; None if it is
        outside at its end.

    Examples
    --------
    >>> last_entry_into(np.array([0.0, 1.0, 2.0]), np.array([9.0, -3.0, 0.0]), 1.0)
    1.6666667

    """
    outside = np.flatnonzero(np.abs(deviation) > band)
    if outside.size == 0:
        return float(time_s[0])
    last = outside[-1]
    if last == time_s.size - 1:
        return None
    edge = float(np.copysign(band, deviation[last]))
    return _crossing_s(time_s, deviation, last, edge)


def highest(time_s: FloatArray, values: FloatArray) -> tuple[float, float]:
    """Return time and height of the curve's highest point.

    The vertex of the parabola through the highest sample and its two
    neighbours. With slopes ``s1``, ``s2`` over the intervals ``h1``, ``h2``
    before and after it, the parabola has at that sample the slope
    ``d = (s1 h2 + s2 h1) / (h1 + h2)`` and everywhere the second derivative
    ``c = 2 (s2 - s1) / (h1 + h2)``: the vertex lies ``-d / c`` later and
    ``-d**2 / (2 c)`` higher.

    The error of the height is at most ``h**3 max|y'''| / (9 sqrt(3))`` on a
    grid of spacing h; the highest sample alone may be ``h**2 |y''| / 8`` low.

    The sample itself is returned if it is the first or last of the record or
    stands level with a neighbour: a flat top (a clamp, a converter's last bit)
    is no parabola, and would gain an overshoot that is not there.

    Examples
    --------
    >>> highest(np.array([0.0, 1.0, 2.0]), np.array([0.75, 1.75, 0.75]))
    (1.0, 1.75)
    >>> highest(np.array([0.0, 1.0, 2.0]), np.array([-0.44, 0.96, 0.36]))
    (1.2, 1.0)

    Source: remainder of quadratic interpolation, common practice.

    """
    top = int(np.argmax(values))
    time, height = float(time_s[top]), float(values[top])
    if top in (0, values.size - 1) or values[top + 1] == height:
        return time, height
    before_s, after_s = time - time_s[top - 1], time_s[top + 1] - time
    slope_before = (height - values[top - 1]) / before_s
    slope_after = (values[top + 1] - height) / after_s
    span_s = before_s + after_s
    slope = (slope_before * after_s + slope_after * before_s) / span_s
    curvature = 2.0 * (slope_after - slope_before) / span_s
    return (
        float(time - slope / curvature),
        float(height - slope**2 / (2.0 * curvature)),
    )


def absolute_moments(time_s: FloatArray, error: FloatArray) -> tuple[float, float]:
    """Return ``integral(|e| dt)`` and ``integral(t |e| dt)``.

    Exact for an error that is straight between samples: each interval is split
    where the error changes sign, then the first integrand is linear (trapezoid)
    and the second quadratic (Simpson).

    Examples
    --------
    >>> absolute_moments(np.array([0.0, 2.0]), np.array([1.0, -1.0]))
    (1.0, 1.0)

    """
    flips = np.flatnonzero(np.sign(error[:-1]) * np.sign(error[1:]) < 0.0)
    zeros_s = [_crossing_s(time_s, error, flip, 0.0) for flip in flips.tolist()]
    split_s = np.insert(time_s, flips + 1, zeros_s)
    size = np.abs(np.insert(error, flips + 1, 0.0))
    interval_s = np.diff(split_s)
    start_s, end_s, first, last = split_s[:-1], split_s[1:], size[:-1], size[1:]
    plain = interval_s * (first + last) / 2.0
    timed = (start_s + end_s) * (first + last) + start_s * first + end_s * last
    return float(plain.sum()), float((interval_s * timed).sum() / 6.0)
