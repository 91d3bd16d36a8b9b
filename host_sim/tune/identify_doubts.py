"""When a record cannot answer, and what to record instead."""

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np

from host_sim.errors import InputError
from host_sim.tune.identify_choice import Candidate, finest_pa
from host_sim.tune.identify_fit import Problem, least_power
from host_sim.tune.identify_intervals import independent_rows, misfits
from host_sim.tune.identify_signal import Step, noise_of, recorded_noise_pa
from host_sim.tune.models import FIRST, HeldInput
from host_sim.tune.models_answer import answer_time_s, rise_time_s
from host_sim.tune.record import Record

# Shares of a step's answer, choices of this project: what the pressure must have
# covered before the next step, what after one step at least, what without a note,
# and what is recommended.
OVERLAP_SHARE = 0.63
MOVING_SHARE = 0.8
SETTLED_SHARE = 0.95
ENOUGH_SHARE = 0.98
FEWEST_ROWS_IN_RISE = 3.0
GOOD_ROWS_IN_RISE = 10.0
"""Common practice, no source."""
WIDEST_GAIN = 0.5
"""Half interval over gain beyond which the noise has won."""
WIDEST_TIME = 4.0
"""Upper over lower end of the time constant's interval, likewise."""
DECIDED = 10.0
"""Difference of information criteria that counts as decided."""
_EARLY_INTERVALS = (1.5, 4.0, 10.0, 25.0, 60.0)


def check_steps(record: Record, held: HeldInput, steps: list[Step]) -> None:
    """Refuse a record whose input or pressure never moves.

    Raises
    ------
    InputError
    """
    if not steps:
        raise InputError(
            f"{record.file}: no step: {record.signal.name!r} stands still within its "
            "noise; record some rest, then one clear step of the input and the "
            "whole answer to it"
        )
    if np.ptp(record.pressure_pa) == 0.0:
        raise InputError(
            f"{record.file}: {record.pressure_name!r} never moves; check that this is "
            "the pressure that the input acts on, then record a larger step"
        )


def check_answer(problem: Problem, steps: list[Step], best: Candidate) -> None:
    """Refuse a record from which no linear model can be trusted.

    Parameters
    ----------
    problem : Problem
    steps : list of Step
    best : Candidate
        The chosen fit.

    Raises
    ------
    InputError
        No answer above the noise, an answer before its cause, too few rows in
        it, steps that overlap, a pressure still moving, intervals too wide.
    """
    for doubt in (
        _answer_before_cause(problem, best),
        _no_answer(problem, best),
        _too_coarse(problem, best),
        _overlap(steps, best),
        _still_moving(problem, steps, best),
        _too_vague(problem, best),
    ):
        if doubt:
            raise InputError(f"{problem.record.file}: {doubt}")


def _rows(problem: Problem, best: Candidate) -> float:
    return independent_rows(len(problem.record.time_s), best.correlation)


def _no_answer(problem: Problem, best: Candidate) -> str | None:
    record = problem.record
    trend = np.polynomial.Polynomial.fit(record.time_s, record.pressure_pa, 1)
    without_pa = float(np.std(trend(record.time_s) - record.pressure_pa))
    rows, left_pa = _rows(problem, best), max(best.residual_pa, finest_pa(problem))
    gained = 2.0 * rows * math.log(max(without_pa, left_pa) / left_pa)
    if gained > DECIDED + 3.0 * math.log(rows):
        return None
    if misfits(best.fit.evidence, recorded_noise_pa(record)):
        return _bent(best)
    return (
        f"too noisy: {record.pressure_name!r} does not answer the input above its "
        f"noise of {noise_of(record.pressure_pa) / 1e5:.2g} bar; record a larger step, "
        "or repeat it several times"
    )


def _bent(best: Candidate) -> str:
    return (
        f"not linear: the best linear model explains {best.fit_percent:.0f} % of the "
        "pressure's moves and misses the rest, though there is little noise, as where "
        "a valve vents more slowly than it fills; record smaller steps, up and down "
        "apart, or give one valve's plant with --scenario"
    )


def _answer_before_cause(problem: Problem, best: Candidate) -> str | None:
    """Compare with models of negative dead time."""
    interval_s = problem.record.interval_s
    if problem.dead_time_s is not None:
        return None
    rest_s = float(problem.held.times_s[0])
    early_s = [n * interval_s for n in _EARLY_INTERVALS if n * interval_s < rest_s]
    powers = [
        least_power(replace(problem, dead_time_s=-ahead_s), FIRST)
        for ahead_s in early_s
    ]
    if not powers:
        return None
    least = min(powers)
    finest = finest_pa(problem) ** 2
    gained = math.log(max(best.residual_pa**2, finest) / max(least, finest))
    if _rows(problem, best) * gained < DECIDED:
        return None
    return (
        "the pressure moves before the input: the dead time would be negative; check "
        "that the input column is the cause and that both columns have one clock"
    )


def _too_coarse(problem: Problem, best: Candidate) -> str | None:
    interval_s = problem.record.interval_s
    rise_s = rise_time_s(best.fit.model)
    if rise_s >= FEWEST_ROWS_IN_RISE * interval_s:
        return None
    return (
        f"too coarse: a row every {interval_s:.3g} s, but the pressure rises from 10 "
        f"to 90 % in {rise_s:.2g} s or less; record a row every "
        f"{max(rise_s / GOOD_ROWS_IN_RISE, 1e-3):.1g} s or faster"
    )


def _overlap(steps: list[Step], best: Candidate) -> str | None:
    needed_s = answer_time_s(best.fit.model, OVERLAP_SHARE)
    for first, second in pairwise(steps):
        apart_s = second.start_s - first.end_s
        if apart_s < needed_s:
            enough_s = answer_time_s(best.fit.model, ENOUGH_SHARE)
            return (
                f"the steps at {first.start_s:.4g} s and {second.start_s:.4g} s "
                f"overlap: {apart_s:.3g} s apart, but the pressure has not answered "
                f"before {needed_s:.3g} s; wait {enough_s:.2g} s after each step, or "
                "cut the record to one of them"
            )
    return None


def rests_s(problem: Problem, steps: list[Step]) -> list[float]:
    """Time from each step to the next one or to the end [s]."""
    ends_s = [*(step.start_s for step in steps[1:]), float(problem.record.time_s[-1])]
    return [end_s - step.end_s for end_s, step in zip(ends_s, steps, strict=True)]


def _still_moving(problem: Problem, steps: list[Step], best: Candidate) -> str | None:
    model = best.fit.model
    longest_s = max(rests_s(problem, steps))
    if longest_s >= answer_time_s(model, MOVING_SHARE):
        return None
    return (
        f"still moving: no step is left alone for more than {longest_s:.3g} s, and in "
        f"that time the pressure does not cover {100 * MOVING_SHARE:g} % of its way; "
        f"record {answer_time_s(model, ENOUGH_SHARE):.2g} s or more after the last step"
    )


def _too_vague(problem: Problem, best: Candidate) -> str | None:
    model, intervals = best.fit.model, best.fit.intervals
    low, high = intervals["gain"]
    gain_share = 0.5 * (high - low) / abs(model.gain)
    low_s, high_s = intervals.get("time_constant_s", (1.0, 1.0))
    if gain_share <= WIDEST_GAIN and high_s <= WIDEST_TIME * low_s:
        return None
    if misfits(best.fit.evidence, recorded_noise_pa(problem.record)):
        return _bent(best)
    what = f"the gain is uncertain by {100 * gain_share:.0f} %"
    if gain_share <= WIDEST_GAIN:
        what = f"the time constant may be {low_s:.2g} s or {high_s:.2g} s"
    return (
        f"too noisy or too short: {what}; record a larger step, a longer rest after "
        "it, or the step several times"
    )
