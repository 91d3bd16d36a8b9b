"""One cycle's response, simulated or recorded: its times, its air, its waste."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt

from host_sim.errors import InputError
from host_sim.loop.loop import run_scenario
from host_sim.measure.answer import measure_run
from host_sim.measure.curve import cut
from host_sim.measure.effort import AirUse
from host_sim.measure.step_metrics import StepMetrics, measure_steps
from host_sim.scenario.load import Scenario
from host_sim.scenario.refusal import refusal
from host_sim.scenario.units import Basis, in_unit
from host_sim.size.savings_assumptions import STEP_TIMES, Assumptions
from host_sim.size.savings_record import read_record

FloatArray = npt.NDArray[np.float64]

# Two commands are one when levels agree to this share of the largest step and
# times to this share of the cycle: a logger's noise and clock, no more.
SAME = 0.01

_DOUBTS = {
    "tolerance": "settling: within the settle band",
    "settling 5 %": "settling: within 5 %",
    "settling 2 %": "settling: within 2 %",
    "settling 1 %": "settling: within 1 %",
    "t50": "t50:",
    "rise": "rise time:",
}


@dataclass(frozen=True)
class CycleResponse:
    """What one run of the command did.

    ``outside_s`` is how long the pressure was outside the tolerance after the
    first step. ``air`` is ``None`` for a record, which does not show it.
    ``pressure_unit`` and ``basis`` are for people.
    """

    name: str
    simulated: bool
    steps: tuple[StepMetrics, ...]
    duration_s: float
    outside_s: float
    air: AirUse | None
    pressure_unit: str
    basis: Basis
    notes: tuple[str, ...]

    def step_times_s(self, word: str) -> list[float | None]:
        """Return the time that counts of each step, by its word [s]."""
        return [getattr(step, STEP_TIMES[word]) for step in self.steps]


def simulate_response(
    name: str,
    scenario: Scenario,
    assumptions: Assumptions,
    each_tick: Callable[[int], None] | None = None,
) -> CycleResponse:
    """Run a scenario and measure the whole of it as one cycle.

    Parameters
    ----------
    name : str
        How to call it.
    scenario : Scenario
        Its settle band gives way to the tolerance of the assumptions.
    assumptions : Assumptions
    each_tick : callable, optional
        Called with the number of ticks done.

    Returns
    -------
    CycleResponse

    Raises
    ------
    InputError
        The command has no step.
    KeyboardInterrupt
        Half a cycle is worth nothing.
    """
    low_pa, high_pa = scenario.pressure_range_pa
    band = assumptions.tolerance_pa / (high_pa - low_pa)
    scenario = replace(scenario, settle_band=band)
    run = run_scenario(scenario, each_tick=each_tick)
    if run.ticks < scenario.ticks:
        raise KeyboardInterrupt
    answer = measure_run(scenario, run)
    curve = run.time_s, run.columns["load_pa"]
    response = CycleResponse(
        name=name,
        simulated=True,
        steps=answer.steps,
        duration_s=scenario.duration_s,
        outside_s=_outside_s(*curve, answer.steps, assumptions.tolerance_pa),
        air=answer.air,
        pressure_unit=scenario.pressure_unit,
        basis=scenario.basis,
        notes=(*scenario.notes, *answer.notes),
    )
    return _checked(response, assumptions)


def recorded_response(path: Path, assumptions: Assumptions) -> CycleResponse:
    """Read and measure a record as one cycle.

    Parameters
    ----------
    path : Path
        A logger's CSV file of time, command current and pressure.
    assumptions : Assumptions
        They tell the set point at 4 and 20 mA.

    Returns
    -------
    CycleResponse

    Raises
    ------
    InputError
        An unfit file, no step in it, or a set-point range that is not stated.
    """
    if assumptions.recorded_range_pa is None:
        where = f"{assumptions.file}: recorded"
        remedy = 'write [recorded] with at_4_ma = "0 bar gauge" and at_20_ma'
        raise refusal(where, None, f"missing, and {path} is a record", remedy)
    time_s, pressure_pa, steps, unit, notes = read_record(
        path, assumptions.recorded_range_pa, assumptions.basis
    )
    band_pa = assumptions.tolerance_pa
    try:
        metrics = tuple(measure_steps(time_s, pressure_pa, steps, band_pa=band_pa))
    except InputError as error:
        raise InputError(f"{path}: {error}") from None
    response = CycleResponse(
        name=str(path),
        simulated=False,
        steps=metrics,
        duration_s=float(time_s[-1]),
        outside_s=_outside_s(time_s, pressure_pa, metrics, band_pa),
        air=None,
        pressure_unit=unit,
        basis=assumptions.basis,
        notes=notes,
    )
    return _checked(response, assumptions)


def _checked(response: CycleResponse, assumptions: Assumptions) -> CycleResponse:
    """Refuse one without steps; add the doubts about its times."""
    if not response.steps:
        why = "no step of at least 1 % of the range"
        remedy = "give a response to a command that steps"
        raise refusal(response.name, None, why, remedy)
    kept = ("start:", _DOUBTS[assumptions.step_time])
    doubts = [
        f"step at {step.step_time_s:g} s: {note}"
        for step in response.steps
        for note in step.notes
        if note.startswith(kept)
    ]
    return replace(response, notes=(*response.notes, *doubts))


def _outside_s(
    time_s: FloatArray,
    pressure_pa: FloatArray,
    steps: tuple[StepMetrics, ...],
    tolerance_pa: float,
) -> float:
    total_s = 0.0
    for step in steps:
        start_s = step.step_time_s
        window = cut(time_s, pressure_pa, start_s, start_s + step.duration_s)
        total_s += time_outside_s(
            window[0], window[1] - step.setpoint_to_pa, tolerance_pa
        )
    return total_s


def time_outside_s(time_s: FloatArray, error: FloatArray, band: float) -> float:
    """Measure how long an error is outside -band ... band.

    Exact for an error that is straight between samples: of each interval, the
    share counts in which the line is outside.

    Parameters
    ----------
    time_s, error : ndarray, shape (n,)
        Times strictly increasing [s]; error in the unit of the band.
    band : float
        More than zero.

    Returns
    -------
    float
        Time [s].

    Notes
    -----
    Source: geometry.

    Examples
    --------
    >>> time_outside_s(np.array([0.0, 2.0, 3.0]), np.array([2.0, 0.0, 0.0]), 1.0)
    1.0
    """
    low = np.minimum(error[:-1], error[1:])
    high = np.maximum(error[:-1], error[1:])
    within = np.clip(np.minimum(high, band) - np.maximum(low, -band), 0.0, None)
    width = high - low
    level = width == 0.0
    share = np.where(level, np.abs(low) <= band, within / np.where(level, 1.0, width))
    return float(np.sum(np.diff(time_s) * (1.0 - share)))


def check_comparable(before: CycleResponse, after: CycleResponse) -> None:
    """Refuse responses to different commands; say what differs.

    Parameters
    ----------
    before, after : CycleResponse

    Raises
    ------
    InputError
        Another number of steps, other levels, times or length, or another
        reference density of the air.

    Notes
    -----
    Source: common practice.
    """
    difference = _first_difference(before, after)
    if difference is not None:
        why = f"not comparable with {before.name}: {difference}"
        raise refusal(after.name, None, why, "give both the same command and range")


def _first_difference(before: CycleResponse, after: CycleResponse) -> str | None:
    ends_pa = [
        (step.setpoint_from_pa, step.setpoint_to_pa)
        for step in (*before.steps, *after.steps)
    ]
    level_pa = SAME * max(abs(to_pa - from_pa) for from_pa, to_pa in ends_pa)
    clock_s = SAME * max(before.duration_s, after.duration_s)
    one, two = (
        _step_texts(response, response.steps[0].step_time_s)
        for response in (before, after)
    )
    for number, (mine, yours) in enumerate(
        zip(before.steps, after.steps, strict=False), start=1
    ):
        levels = zip(_ends_pa(mine), _ends_pa(yours), strict=True)
        moved_s = (yours.step_time_s - after.steps[0].step_time_s) - (
            mine.step_time_s - before.steps[0].step_time_s
        )
        if any(abs(a - b) > level_pa for a, b in levels) or abs(moved_s) > clock_s:
            return f"step {number} is {two[number - 1]}, and {one[number - 1]} there"
    if len(before.steps) != len(after.steps):
        return f"{len(after.steps)} steps, and {len(before.steps)} there"
    lengths_s = [
        response.duration_s - response.steps[0].step_time_s
        for response in (before, after)
    ]
    if abs(lengths_s[1] - lengths_s[0]) > clock_s:
        return (
            f"{lengths_s[1]:.4g} s from the first step to the end, and "
            f"{lengths_s[0]:.4g} s there"
        )
    densities = [r.basis.anr_density_kg_m3 for r in (before, after)]
    if densities[0] != densities[1]:
        return "air.reference_density {1:g} kg/m3, and {0:g} there".format(*densities)
    return None


def _ends_pa(step: StepMetrics) -> tuple[float, float]:
    return step.setpoint_from_pa, step.setpoint_to_pa


def _step_texts(response: CycleResponse, first_s: float) -> list[str]:
    return [
        f"{ends_text(response, *_ends_pa(step))} at {step.step_time_s - first_s:.4g} s "
        "after the first"
        for step in response.steps
    ]


def ends_text(response: CycleResponse, from_pa: float, to_pa: float) -> str:
    """Write the ends of a step in the response's unit for people."""
    unit, basis = response.pressure_unit, response.basis
    start, end = (in_unit(pa, "pressure", unit, basis) for pa in (from_pa, to_pa))
    # Rounding first and adding zero keeps noise about zero from being "-0".
    return f"{round(start, 3) + 0.0:.7g} -> {round(end, 3) + 0.0:.7g} {unit}"
