"""How far a loop gain stays from instability."""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.optimize import brentq, minimize_scalar

from host_sim.errors import InputError

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]
Response = Callable[[FloatArray], ComplexArray]
"""Complex gain at angular frequencies [rad/s]."""

POINTS = 4_000
"""Of each half of a grid."""
TINY = 1e-300
"""Added where a gain may be 0."""
HALF_POWER = math.sqrt(0.5)
REAL = 1e-9
"""Share of the imaginary part below which a gain counts as real."""


@dataclass(frozen=True)
class Margins:
    """Distances of a loop gain L from -1; infinite where there is none.

    ``gain_margin`` is the factor on L, nearest to 1, that brings L to -1;
    ``phase_margin_deg`` the smallest lag that does. ``ms`` and ``mt`` are the
    peaks of ``1/(1 + L)`` and ``L/(1 + L)``; ``bandwidth_rad_s`` is where the
    latter first falls below -3 dB, 0 if it starts there. ``ms_rad_s`` is where
    L comes nearest to -1. Where the closed loop is not ``stable`` the others
    are distances all the same, but promise nothing.
    """

    stable: bool
    gain_margin: float
    phase_crossover_rad_s: float
    phase_margin_deg: float
    gain_crossover_rad_s: float
    ms: float
    ms_rad_s: float
    mt: float
    bandwidth_rad_s: float


def measure_margins(response: Response, low_rad_s: float, high_rad_s: float) -> Margins:
    """Measure the margins of a loop gain between two frequencies.

    ``S = 1/(1 + L)``, ``T = L/(1 + L)``. The loop is judged stable where
    ``1 + L`` ends on the same side of 0 as it would without turning round it.
    Crossings between grid points are found to rounding. At the highest
    frequency itself a gain that is real and negative counts as a crossing: at
    half the sampling frequency every loop gain is real.

    Parameters
    ----------
    response : callable
        Loop gain, of a sampled loop or a continuous one.
    low_rad_s, high_rad_s : float
        Range, which must hold every crossing [rad/s].

    Returns
    -------
    Margins

    Raises
    ------
    InputError
        When the range is empty, or the gain is not finite in it.

    >>> found = measure_margins(lambda w: 4.0 / (1j * w + 1.0) ** 3, 1e-3, 1e3)
    >>> found.gain_margin, found.phase_margin_deg, found.ms
    (2.0, 27.14163, 3.0)
    """
    if not 0.0 < low_rad_s < high_rad_s < math.inf:
        raise InputError(
            f"frequency range {low_rad_s:g} ... {high_rad_s:g} rad/s: "
            "must rise from above 0 to a finite end"
        )
    grid = frequencies(low_rad_s, high_rad_s, POINTS)
    gains = response(grid)
    if not np.isfinite(gains).all():
        raise InputError("loop gain: not finite everywhere in the frequency range")
    gain_margin, phase_crossover = _gain_margin(response, grid, gains)
    phase_margin, gain_crossover = _phase_margin(response, grid, gains)
    ms, ms_rad_s = _peak(lambda w: _sensitivity(response(w)), grid, _sensitivity(gains))
    mt, _ = _peak(lambda w: _closed(response(w)), grid, _closed(gains))
    return Margins(
        stable=is_stable(grid, gains),
        gain_margin=gain_margin,
        phase_crossover_rad_s=phase_crossover,
        phase_margin_deg=phase_margin,
        gain_crossover_rad_s=gain_crossover,
        ms=ms,
        ms_rad_s=ms_rad_s,
        mt=mt,
        bandwidth_rad_s=_bandwidth(response, grid, _closed(gains)),
    )


def frequencies(low_rad_s: float, high_rad_s: float, points: int) -> FloatArray:
    """Make a grid: logarithmic for the wide view, linear for delays."""
    return np.union1d(
        np.geomspace(low_rad_s, high_rad_s, points),
        np.linspace(low_rad_s, high_rad_s, points),
    )


def _sensitivity(gains: ComplexArray) -> FloatArray:
    """Magnitude of ``1/(1 + L)``; infinite at -1."""
    with np.errstate(divide="ignore"):
        return 1.0 / np.abs(1.0 + gains)


def _closed(gains: ComplexArray) -> FloatArray:
    """Magnitude of ``L/(1 + L)``; infinite at -1."""
    return np.abs(gains) * _sensitivity(gains)


def is_stable(frequency_rad_s: FloatArray, gains: ComplexArray) -> bool:
    """Judge a closed loop by how far ``1 + L`` turns round 0.

    With k integrators in L it starts at ``-k pi/2``; it must end on the positive
    real axis, at angle 0 and not a whole turn away.

    Parameters
    ----------
    frequency_rad_s, gains : ndarray
        L at rising frequencies [rad/s], from far below to the highest: half the
        sampling frequency, or where L has died away. No pole of L may be unstable,
        and its steady gain must be positive or infinite.

    Returns
    -------
    bool

    Notes
    -----
    Source: Nyquist's criterion, from memory; any book on feedback.

    >>> w = np.geomspace(1e-3, 1e3, 1_000)
    >>> [is_stable(w, k / (1j * w + 1.0) ** 3) for k in (7.9, 8.1)]
    [True, False]
    """
    first = slice(0, 2)
    rise = np.diff(np.log(np.abs(gains[first]) + TINY)) / np.diff(
        np.log(frequency_rad_s[first])
    )
    integrators = round(-float(rise[0]))
    turned = np.unwrap(np.angle(1.0 + gains))
    # The angle at the start is known but for whole turns.
    turns = round(float(turned[0] / math.tau + integrators / 4.0))
    return bool(abs(turned[-1] - turns * math.tau) < math.pi / 2.0)


def _root(
    function: Callable[[FloatArray], FloatArray], low_rad_s: float, high_rad_s: float
) -> float:
    """Find the zero of a function between two frequencies where its sign differs."""

    def at(frequency_rad_s: float) -> float:
        return float(function(np.array([frequency_rad_s]))[0])

    return float(brentq(at, low_rad_s, high_rad_s, xtol=1e-300, rtol=1e-14))


def _roots(
    function: Callable[[FloatArray], FloatArray], grid: FloatArray, levels: FloatArray
) -> list[float]:
    """Zeros of a function whose values on the grid are known."""
    changes = np.flatnonzero(np.sign(levels[:-1]) * np.sign(levels[1:]) < 0.0)
    exact = [float(w) for w in grid[levels == 0.0]]
    return exact + [_root(function, grid[k], grid[k + 1]) for k in changes]


def _phase_crossing(
    response: Response,
    grid: FloatArray,
    gains: ComplexArray,
    worth: Callable[[FloatArray], FloatArray],
) -> tuple[float, float]:
    """Find where L is real and negative, and the factor that brings it to -1.

    Of several such places it is the one whose distance from 0, as seen on the
    grid, is worth most: with dead time there are many.
    """
    real, imaginary = gains.real, gains.imag
    on_axis = imaginary == 0.0
    on_axis[-1] |= abs(imaginary[-1]) <= REAL * abs(gains[-1])
    exact = np.flatnonzero(on_axis)
    left = np.flatnonzero(np.sign(imaginary[:-1]) * np.sign(imaginary[1:]) < 0.0)
    share = imaginary[left] / (imaginary[left] - imaginary[left + 1])
    between = real[left] + share * (real[left + 1] - real[left])
    distances = -np.concatenate([between, real[exact]])
    ends = np.concatenate([[left, left + 1], [exact, exact]], axis=1)
    negative = distances > 0.0
    if not negative.any():
        return math.inf, math.inf
    best = int(np.argmax(worth(distances[negative])))
    low, high = (float(w) for w in grid[ends[:, negative][:, best]])
    at = low if low == high else _root(lambda w: response(w).imag, low, high)
    return -1.0 / float(response(np.array([at]))[0].real), at


def ultimate_point(
    response: Response, low_rad_s: float, high_rad_s: float
) -> tuple[float, float]:
    """Find the gain at which a plant under P alone starts to swing, and how fast.

    Parameters
    ----------
    response : callable
        The plant's gain.
    low_rad_s, high_rad_s : float
        Range, which must hold the crossing [rad/s].

    Returns
    -------
    tuple of float
        Ultimate gain [1/unit of the response] and frequency [rad/s]; infinite
        where the plant never turns by half a circle.

    >>> ultimate_point(lambda w: 1.0 / (1j * w + 1.0) ** 3, 1e-3, 1e3)
    (8.0, 1.7320508)
    """
    grid = frequencies(low_rad_s, high_rad_s, POINTS)
    return _phase_crossing(response, grid, response(grid), lambda distance: distance)


def _gain_margin(
    response: Response, grid: FloatArray, gains: ComplexArray
) -> tuple[float, float]:
    return _phase_crossing(
        response, grid, gains, lambda distance: -np.abs(np.log(distance))
    )


def _phase_margin(
    response: Response, grid: FloatArray, gains: ComplexArray
) -> tuple[float, float]:
    crossings = _roots(lambda w: np.abs(response(w)) - 1.0, grid, np.abs(gains) - 1.0)
    turned = [(-response(np.array([w]))[0], w) for w in crossings]
    margins = [(math.degrees(np.angle(gain)), w) for gain, w in turned]
    return min(margins, key=lambda m: abs(m[0]), default=(math.inf, math.inf))


def _peak(
    function: Callable[[FloatArray], FloatArray], grid: FloatArray, heights: FloatArray
) -> tuple[float, float]:
    top = int(np.argmax(heights))
    low, high = grid[max(top - 1, 0)], grid[min(top + 1, len(grid) - 1)]
    found = minimize_scalar(
        lambda w: -float(function(np.array([w]))[0]),
        bounds=(low, high),
        method="bounded",
        options={"xatol": 1e-9 * high},
    )
    at_grid = float(heights[top]), float(grid[top])
    return max((float(-found.fun), float(found.x)), at_grid)


def _bandwidth(response: Response, grid: FloatArray, heights: FloatArray) -> float:
    above = heights - HALF_POWER
    if above[0] <= 0.0:
        return 0.0
    fallen = np.flatnonzero((above[:-1] > 0.0) & (above[1:] <= 0.0))
    if not len(fallen):
        return math.inf
    near = slice(fallen[0], fallen[0] + 2)
    return _roots(lambda w: _closed(response(w)) - HALF_POWER, grid[near], above[near])[
        0
    ]
