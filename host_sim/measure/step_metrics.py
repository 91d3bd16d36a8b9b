"""How well a pressure followed a step of its set point.

The scale is the commanded step: the final level is the set point unless the
caller names another. A loop with a steady offset then never reaches 90 % or
settles, and the notes say so.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from host_sim.errors import InputError
from host_sim.measure.curve import (
    MINIMUM_SAMPLES,
    FloatArray,
    absolute_moments,
    check_record,
    cut,
    highest,
)
from host_sim.measure.response import Response


@dataclass(frozen=True)
class StepMetrics:
    """What one step of the set point did; times count from the step.

    None stands for what the record cannot answer; ``notes`` says why.

    Attributes
    ----------
    step_time_s, duration_s : float
        When the set point stepped; how long the record lasts after that.
    setpoint_from_pa, setpoint_to_pa, final_pa : float
        The command, and the level of 100 % progress.
    t50_s : float or None
        First time at 50 % progress.
    rise_time_s : float or None
        From the first time at 10 % to the first time at 90 %.
    overshoot_percent : float or None
        Furthest point beyond the final level, in percent of the step; 0 if
        none is beyond it.
    peak_time_s : float or None
        When the furthest point is reached.
    peak_pressure_pa : float
        Furthest pressure of the record in the step's direction.
    settling_5_s, settling_2_s, settling_1_s : float or None
        Last time of coming to within 5, 2, 1 percent of the step from the
        final level.
    settling_band_s : float or None
        The same for ``band_pa`` either side; None also if no band was asked.
    band_pa : float or None
    steady_error_pa : float or None
        Set point minus mean pressure over the last tenth of the record.
    iae_pa_s, itae_pa_s2 : float
        ``integral(|e| dt)`` and ``integral(t |e| dt)`` with ``e`` set point
        minus pressure, over the record.
    notes : tuple of str
        What could not be answered or deserves doubt, in words.

    """

    step_time_s: float
    duration_s: float
    setpoint_from_pa: float
    setpoint_to_pa: float
    final_pa: float
    t50_s: float | None
    rise_time_s: float | None
    overshoot_percent: float | None
    peak_time_s: float | None
    peak_pressure_pa: float
    settling_5_s: float | None
    settling_2_s: float | None
    settling_1_s: float | None
    settling_band_s: float | None
    band_pa: float | None
    steady_error_pa: float | None
    iae_pa_s: float
    itae_pa_s2: float
    notes: tuple[str, ...]


def measure_step(
    time_s: FloatArray,
    pressure_pa: FloatArray,
    setpoint_from_pa: float,
    setpoint_to_pa: float,
    step_time_s: float,
    *,
    final_pa: float | None = None,
    band_pa: float | None = None,
) -> StepMetrics:
    """Measure the response from the step to the end of the record.

    The pressure is straight between samples, its peak a parabola through three
    samples. A settling time whose stay in the band lasts less than a tenth of
    the record is given with a note of doubt.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Strictly increasing, n >= 3 [s].
    pressure_pa : ndarray, shape (n,)
        Pressure at those times [Pa].
    setpoint_from_pa, setpoint_to_pa : float
        Set point before and after the step [Pa].
    step_time_s : float
        When the set point steps, within the record [s].
    final_pa : float, optional
        The level of 100 % for all but the errors, which stay those from the
        set point [Pa]; the set point unless given.
    band_pa : float, optional
        Settle to this distance from the final level as well [Pa].

    Returns
    -------
    StepMetrics

    Raises
    ------
    InputError
        Unfit record, no step, step time outside the record, no sample between
        it and the record's end, or a band that is not positive.

    Examples
    --------
    >>> time_s = np.linspace(0.0, 10.0, 10_001)
    >>> pressure_pa = 3e5 - 1e5 * np.exp(-time_s)
    >>> metrics = measure_step(time_s, pressure_pa, 2e5, 3e5, 0.0)
    >>> metrics.rise_time_s, metrics.settling_2_s
    (2.1972, 3.9120)

    Source: definitions are common practice, with the commanded step as scale;
    textbooks take the achieved final value (give it as ``final_pa``).

    """
    check_record(time_s, pressure_pa)
    level_pa = setpoint_to_pa if final_pa is None else final_pa
    levels_pa = (setpoint_from_pa, setpoint_to_pa, level_pa)
    window = _window(time_s, pressure_pa, step_time_s, float(time_s[-1]))
    return _measure(*window, step_time_s, levels_pa, band_pa)


def measure_steps(
    time_s: FloatArray,
    pressure_pa: FloatArray,
    steps: Sequence[tuple[float, float, float]],
    *,
    band_pa: float | None = None,
) -> list[StepMetrics]:
    """Measure every step of a run, each until the next one.

    Window k is the closed interval from step k to step k + 1: at the instant of
    a step the pressure has not answered yet and ends the window before, so the
    integrals of all windows add up to that of the run.

    Parameters
    ----------
    time_s, pressure_pa : ndarray, shape (n,)
        The record, as for `measure_step` [s], [Pa].
    steps : sequence of (float, float, float)
        Time [s], set point before and after [Pa]; times strictly increasing.
    band_pa : float, optional
        As for `measure_step` [Pa].

    Returns
    -------
    list of StepMetrics
        One for each step, in order.

    Raises
    ------
    InputError
        As `measure_step`, or step times that do not strictly increase.

    Examples
    --------
    >>> time_s = np.arange(9.0)
    >>> pressure_pa = np.array([1, 2, 3, 3, 3, 2, 1, 1, 1]) * 1e5
    >>> steps = [(0.0, 1e5, 3e5), (4.0, 3e5, 1e5)]
    >>> [m.t50_s for m in measure_steps(time_s, pressure_pa, steps)]
    [1.0, 1.0]

    """
    check_record(time_s, pressure_pa)
    starts_s = [step[0] for step in steps]
    for earlier_s, later_s in pairwise(starts_s):
        if not earlier_s < later_s:
            raise InputError(
                f"steps: {later_s:g} s follows {earlier_s:g} s; step times must "
                "strictly increase; sort the steps"
            )
    metrics = []
    ends_s = [*starts_s[1:], float(time_s[-1])][: len(starts_s)]
    for (start_s, from_pa, to_pa), end_s in zip(steps, ends_s, strict=True):
        window = _window(time_s, pressure_pa, start_s, end_s)
        levels_pa = (from_pa, to_pa, to_pa)
        metrics.append(_measure(*window, start_s, levels_pa, band_pa))
    return metrics


def _window(
    time_s: FloatArray, pressure_pa: FloatArray, start_s: float, end_s: float
) -> tuple[FloatArray, FloatArray]:
    """Return the record from start to end, on a clock that starts there."""
    if not time_s[0] <= start_s < time_s[-1]:
        raise InputError(
            f"step_time_s: {start_s:g} s; must lie within the record, "
            f"{time_s[0]:g} ... {time_s[-1]:g} s, before its end; "
            "give the time on the record's own clock"
        )
    times_s, window_pa = cut(
        time_s, pressure_pa, start_s, min(end_s, float(time_s[-1]))
    )
    if times_s.size < MINIMUM_SAMPLES:
        raise InputError(
            f"step_time_s: no sample between the step at {start_s:g} s and the next "
            f"step or the record's end at {times_s[-1]:g} s; at least one is needed; "
            "record longer or sample faster"
        )
    return times_s - start_s, window_pa


def _measure(
    time_s: FloatArray,
    pressure_pa: FloatArray,
    step_time_s: float,
    levels_pa: tuple[float, float, float],
    band_pa: float | None,
) -> StepMetrics:
    """Put every question to one window, whose clock starts with the step."""
    from_pa, to_pa, final_pa = levels_pa
    _check_levels(levels_pa, band_pa)
    size_pa = final_pa - from_pa
    response = Response(time_s, (pressure_pa - from_pa) / size_pa)
    response.check_start()
    t50_s, rise_time_s = response.reach_s(0.5, "t50"), response.rise_s()
    overshoot_percent, peak_time_s = response.overshoot()
    _, furthest = highest(time_s, response.progress)
    settling_s = [
        response.settling_s(percent / 100.0, f"{percent} %") for percent in (5, 2, 1)
    ]
    settling_band_s = None
    if band_pa is not None:
        settling_band_s = response.settling_s(band_pa / abs(size_pa), "the settle band")
    steady = response.steady_progress()
    iae_pa_s, itae_pa_s2 = absolute_moments(time_s, to_pa - pressure_pa)
    return StepMetrics(
        step_time_s=step_time_s,
        duration_s=float(time_s[-1]),
        setpoint_from_pa=from_pa,
        setpoint_to_pa=to_pa,
        final_pa=final_pa,
        t50_s=t50_s,
        rise_time_s=rise_time_s,
        overshoot_percent=overshoot_percent,
        peak_time_s=peak_time_s,
        peak_pressure_pa=from_pa + furthest * size_pa,
        settling_5_s=settling_s[0],
        settling_2_s=settling_s[1],
        settling_1_s=settling_s[2],
        settling_band_s=settling_band_s,
        band_pa=band_pa,
        steady_error_pa=None if steady is None else to_pa - from_pa - steady * size_pa,
        iae_pa_s=iae_pa_s,
        itae_pa_s2=itae_pa_s2,
        notes=tuple(response.notes),
    )


def _check_levels(levels_pa: tuple[float, float, float], band_pa: float | None) -> None:
    from_pa, to_pa, final_pa = levels_pa
    if not np.isfinite(levels_pa).all() or final_pa == from_pa:
        raise InputError(
            f"setpoint_from_pa: step from {from_pa:g} Pa to {to_pa:g} Pa, final level "
            f"{final_pa:g} Pa; all must be finite and the final level differ from "
            "the start; leave out steps that change nothing"
        )
    if band_pa is not None and not 0.0 < band_pa < np.inf:
        raise InputError(
            f"band_pa: {band_pa:g} Pa; must be more than 0 and finite; "
            "give the distance either side of the final level"
        )
