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
"""Of each grid: logarithmic for the wide view, linear for delays."""
REAL = 1e-9
"""Share of the imaginary part below which a gain counts as real."""


@dataclass(frozen=True)
class Margins:
    """Distances of a loop gain L from -1; infinite where there is none.

    ``gain_margin`` is the factor on L, nearest to 1, that brings L to -1;
    ``phase_margin_deg`` the smallest lag that does. ``ms`` and ``mt`` are the
    peaks of ``1/(1 + L)`` and ``L/(1 + L)``; ``bandwidth_rad_s`` is where the
    latter first falls below -3 dB, 0 if it starts there. All this presumes a
    loop that is stable: margins alone do not prove that it is.
    """

    gain_margin: float
    phase_crossover_rad_s: float
    phase_margin_deg: float
    gain_crossover_rad_s: float
    ms: float
    mt: float
    bandwidth_rad_s: float


def measure_margins(response: Response, low_rad_s: float, high_rad_s: float) -> Margins:
    """Measure the margins of a loop gain between two frequencies.

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
    grid = np.union1d(
        np.geomspace(low_rad_s, high_rad_s, POINTS),
        np.linspace(low_rad_s, high_rad_s, POINTS),
    )
    gains = response(grid)
    if not np.isfinite(gains).all():
        raise InputError("loop gain: not finite everywhere in the frequency range")
    gain_margin, phase_crossover = _gain_margin(response, grid, gains)
    phase_margin, gain_crossover = _phase_margin(response, grid, gains)
    return Margins(
        gain_margin=gain_margin,
        phase_crossover_rad_s=phase_crossover,
        phase_margin_deg=phase_margin,
        gain_crossover_rad_s=gain_crossover,
        ms=_peak(lambda w: np.abs(1.0 / (1.0 + response(w))), grid),
        mt=_peak(lambda w: _closed(response, w), grid),
        bandwidth_rad_s=_bandwidth(response, grid),
    )


def _closed(response: Response, frequency_rad_s: FloatArray) -> FloatArray:
    gain = response(frequency_rad_s)
    return np.abs(gain / (1.0 + gain))


def _roots(
    function: Callable[[FloatArray], FloatArray], grid: FloatArray, levels: FloatArray
) -> list[float]:
    """Zeros of a function whose values on the grid are known."""
    changes = np.flatnonzero(np.sign(levels[:-1]) * np.sign(levels[1:]) < 0.0)

    def at(frequency_rad_s: float) -> float:
        return float(function(np.array([frequency_rad_s]))[0])

    exact = [float(w) for w in grid[levels == 0.0]]
    return exact + [
        float(brentq(at, grid[k], grid[k + 1], xtol=1e-300, rtol=1e-14))
        for k in changes
    ]


def _gain_margin(
    response: Response, grid: FloatArray, gains: ComplexArray
) -> tuple[float, float]:
    crossings = _roots(lambda w: response(w).imag, grid, gains.imag)
    if abs(gains[-1].imag) <= REAL * abs(gains[-1]):
        crossings.append(float(grid[-1]))
    found = [(float(-response(np.array([w]))[0].real), w) for w in crossings]
    margins = [(1.0 / share, w) for share, w in found if share > 0.0]
    return min(margins, key=lambda m: abs(math.log(m[0])), default=(math.inf, math.inf))


def _phase_margin(
    response: Response, grid: FloatArray, gains: ComplexArray
) -> tuple[float, float]:
    crossings = _roots(lambda w: np.abs(response(w)) - 1.0, grid, np.abs(gains) - 1.0)
    turned = [(-response(np.array([w]))[0], w) for w in crossings]
    margins = [(math.degrees(np.angle(gain)), w) for gain, w in turned]
    return min(margins, key=lambda m: abs(m[0]), default=(math.inf, math.inf))


def _peak(function: Callable[[FloatArray], FloatArray], grid: FloatArray) -> float:
    heights = function(grid)
    top = int(np.argmax(heights))
    low, high = grid[max(top - 1, 0)], grid[min(top + 1, len(grid) - 1)]
    found = minimize_scalar(
        lambda w: -float(function(np.array([w]))[0]),
        bounds=(low, high),
        method="bounded",
        options={"xatol": 1e-9 * high},
    )
    return max(float(-found.fun), float(heights[top]))


def _bandwidth(response: Response, grid: FloatArray) -> float:
    heights = _closed(response, grid) - math.sqrt(0.5)
    if heights[0] <= 0.0:
        return 0.0
    fallen = np.flatnonzero((heights[:-1] > 0.0) & (heights[1:] <= 0.0))
    if not len(fallen):
        return math.inf
    near = slice(fallen[0], fallen[0] + 2)
    return _roots(
        lambda w: _closed(response, w) - math.sqrt(0.5), grid[near], heights[near]
    )[0]
