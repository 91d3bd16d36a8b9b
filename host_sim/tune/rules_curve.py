"""The step answer of a linear plant, as a ruler measures it on paper."""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.interpolate import CubicHermiteSpline
from scipy.linalg import expm

from host_sim.errors import InputError
from host_sim.measure.margins import FloatArray
from host_sim.tune.rules_plant import AT_REST, DelayedPlant

FINE, COARSE = 1e-3, 30.0
"""First time looked at over the fastest, last over the slowest time constant."""
AN_OCTAVE = 24
"""Times looked at in each doubling; cubics between them are right to some 1e-8."""
OVER = 0.05
"""Overshoot of a step answer above which its shape is no lag with dead time."""
SHARES = (0.283, 0.353, 0.632, 1.0 - math.exp(-1.0), 0.853)
"""Of the gain, at which times are read; two-point rules say 63.2 % for the third."""


@dataclass(frozen=True)
class StepCurve:
    """The answer to a unit step of drive.

    The tangent where it is steepest leaves rest ``delay_s`` after the step and
    rises by ``slope_per_s``; ``times_s`` are those at which `SHARES` of the gain are
    reached; ``residence_s`` is the area above the answer over the gain. Every time
    counts from the step, dead time and all; only ``answer``, pressure at a time,
    begins behind the dead time.
    """

    gain: float
    slope_per_s: float
    steepest_s: float
    delay_s: float
    times_s: tuple[float, ...]
    residence_s: float
    answer: Callable[[FloatArray], FloatArray]

    @property
    def lag_s(self) -> float:
        """Time from the tangent's foot to ``1 - 1/e`` of the gain [s]."""
        return self.times_s[3] - self.delay_s


def step_curve(plant: DelayedPlant) -> StepCurve:
    """Read a step answer's tangent, times and area.

    ``y = c int e^(a t) dt b``; the tangent touches where ``y'`` is largest; the
    area over the gain is ``-c a^-2 b / (c a^-1 b)``.

    Parameters
    ----------
    plant : DelayedPlant

    Returns
    -------
    StepCurve

    Raises
    ------
    InputError
        No steady end, a gain below 0, or an overshoot above 5 %.

    Notes
    -----
    Source: tangent Ziegler and Nichols (1942); 63 % and area Astrom and
    Haegglund (1995); all from memory.
    """
    rates = np.abs(np.linalg.eigvals(plant.a))
    if rates.min() <= AT_REST * rates.max():
        raise InputError("plant: an integrator, so its step answer has no end")
    once = -np.linalg.solve(plant.a, plant.b)
    twice = -np.linalg.solve(plant.a, once)
    gain = float(plant.c @ once)
    time_s, answer, *slopes = _sampled(plant, FINE / rates.max(), COARSE / rates.min())
    if gain <= 0.0 or answer.max() > (1.0 + OVER) * gain:
        raise InputError(
            f"plant: its step answer falls, or passes its end ({gain:g}) by more than "
            f"{100 * OVER:g} %; no lag with dead time looks like that"
        )
    curve = CubicHermiteSpline(time_s, answer, slopes[0])
    steepest_s = _steepest(time_s, *slopes)
    slope_per_s = float(CubicHermiteSpline(time_s, *slopes[:2])(steepest_s))
    times_s = [float(curve.solve(s * gain, extrapolate=False)[0]) for s in SHARES]
    return StepCurve(
        gain=gain,
        slope_per_s=slope_per_s,
        steepest_s=plant.delay_s + steepest_s,
        delay_s=plant.delay_s + steepest_s - float(curve(steepest_s)) / slope_per_s,
        times_s=tuple(plant.delay_s + time_s for time_s in times_s),
        residence_s=plant.delay_s + float(plant.c @ twice) / gain,
        answer=curve,
    )


def _sampled(
    plant: DelayedPlant, start_s: float, end_s: float
) -> tuple[FloatArray, ...]:
    """List times from 0 to the end, the answer and its first three derivatives."""
    count = len(plant.a)
    block = np.zeros((count + 1, count + 1))
    block[:count, :count], block[:count, count] = plant.a, plant.b
    steps = [expm(start_s * block)]
    step = expm(start_s / AN_OCTAVE * block)
    for _ in range(AN_OCTAVE - 1):
        steps.append(steps[-1] @ step)
    moved, time_s = np.array(steps), start_s * (1.0 + np.arange(AN_OCTAVE) / AN_OCTAVE)
    times_s, answers, frees = [np.zeros(1)], [np.zeros(1)], [plant.b[None, :]]
    while times_s[-1][0] < end_s:
        times_s.append(time_s)
        answers.append(moved[:, :count, count] @ plant.c)
        frees.append(moved[:, :count, :count] @ plant.b)
        # Twice the time is the square of the matrix.
        time_s, moved = 2.0 * time_s, moved @ moved
    free, row = np.concatenate(frees), plant.c
    slope, bend, jerk = (
        free @ row,
        free @ (row @ plant.a),
        free @ (row @ plant.a @ plant.a),
    )
    return np.concatenate(times_s), np.concatenate(answers), slope, bend, jerk


def _steepest(
    time_s: FloatArray, slope: FloatArray, bend: FloatArray, jerk: FloatArray
) -> float:
    """Find where the slope is largest; at once, if it only falls."""
    top = int(np.argmax(slope))
    if top == 0:
        return 0.0
    near = slice(top - 1, top + 2)
    found = CubicHermiteSpline(time_s[near], bend[near], jerk[near]).roots(False, False)
    # A slope that is level but for rounding has no single steepest point.
    return float(found[0]) if len(found) else float(time_s[top])
