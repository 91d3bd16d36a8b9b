"""A recorded step answered: which model, how sure, what to doubt."""

from dataclasses import dataclass

import numpy as np

from host_sim.tune.identify_choice import Candidate, fit_all
from host_sim.tune.identify_doubts import (
    GOOD_ROWS_IN_RISE,
    SETTLED_SHARE,
    check_answer,
    check_steps,
    rests_s,
)
from host_sim.tune.identify_fit import Problem
from host_sim.tune.identify_intervals import misfits
from host_sim.tune.identify_saturation import check_saturation
from host_sim.tune.identify_signal import (
    Step,
    find_steps,
    noise_of,
    recorded_noise_pa,
)
from host_sim.tune.models_answer import answer_time_s, rise_time_s
from host_sim.tune.record import Record

UNDECIDED = 2.0
"""Difference of information criteria below which two models do equally well."""


LEAST_REST_ROWS = 5


@dataclass(frozen=True)
class Identification:
    """What a record tells of a plant.

    Attributes
    ----------
    record : Record
    steps : tuple of Step
    candidates : tuple of Candidate
        All fits, the chosen one first.
    noise_pa : float
        Noise of the recorded pressure, standard deviation [Pa].
    quantum_pa : float
        Resolution of the recorded pressure; 0 if none shows [Pa].
    notes : tuple of str
        What deserves doubt, with the remedy.
    """

    record: Record
    steps: tuple[Step, ...]
    candidates: tuple[Candidate, ...]
    noise_pa: float
    quantum_pa: float
    notes: tuple[str, ...]

    @property
    def best(self) -> Candidate:
        """The chosen fit."""
        return self.candidates[0]


def identify(record: Record, dead_time_s: float | None = None) -> Identification:
    """Fit linear models to all steps at once and choose one.

    The input counts as exact: its noise is averaged over each level, and what is
    wrong with a level by some per cent of the step is wrong with the gain.

    Parameters
    ----------
    record : Record
    dead_time_s : float, optional
        Known dead time, 0 or more; found from the record unless given [s].

    Returns
    -------
    Identification

    Raises
    ------
    InputError
        The record cannot answer; the text says what to record instead.

    Notes
    -----
    Source: see `fit_form`, `half_widths` and `fit_all`.
    """
    problem = Problem.of(record, dead_time_s)
    steps = find_steps(problem.held, record.interval_s)
    check_steps(record, problem.held, steps)
    candidates = fit_all(problem)
    best = candidates[0]
    check_saturation(problem, steps[0].start_s)
    check_answer(problem, steps, best)
    return Identification(
        record=record,
        steps=tuple(steps),
        candidates=tuple(candidates),
        noise_pa=noise_of(record.pressure_pa),
        quantum_pa=problem.quantum_pa,
        notes=tuple(_notes(problem, steps, candidates)),
    )


def _notes(
    problem: Problem, steps: list[Step], candidates: list[Candidate]
) -> list[str]:
    record, best = problem.record, candidates[0]
    model = best.fit.model
    notes = list(record.notes)
    rest_rows = int(np.searchsorted(record.time_s, steps[0].start_s))
    if rest_rows < LEAST_REST_ROWS:
        notes.append(
            f"only {rest_rows} rows of rest before the first step; the model counts on "
            "rest: record some seconds of it"
        )
    second = candidates[1]
    if second.criterion < UNDECIDED:
        notes.append(
            f"the record does not decide between {model.form} and "
            f"{second.fit.model.form}; a larger step or less noise would"
        )
    rows_in_rise = rise_time_s(model) / record.interval_s
    if rows_in_rise < GOOD_ROWS_IN_RISE:
        notes.append(
            f"only {rows_in_rise:.1f} rows in the rise from 10 to 90 %; record "
            f"{GOOD_ROWS_IN_RISE:g} or more"
        )
    settled_s = answer_time_s(model, SETTLED_SHARE)
    if max(rests_s(problem, steps)) < settled_s:
        notes.append(
            f"the pressure was still moving at the end; record {settled_s:.2g} s or "
            "more after a step"
        )
    notes += _misfit(problem, best) + _clock(problem, best)
    return notes


def _misfit(problem: Problem, best: Candidate) -> list[str]:
    """Say that a straight model does not fit a bent plant."""
    noise_pa = recorded_noise_pa(problem.record)
    span_pa = float(np.ptp(problem.record.pressure_pa))
    if not misfits(best.fit.evidence, noise_pa):
        return []
    return [
        f"the model misses by {100 * best.residual_pa / span_pa:.1f} % of the "
        "pressure's travel, more than the noise (the intervals allow for it): the "
        "plant is not linear, or fills and vents at different speeds; record smaller "
        "steps, up and down apart"
    ]


def _clock(problem: Problem, best: Candidate) -> list[str]:
    """Say what the rows' distance does to the dead time."""
    low_s, high_s = best.fit.intervals["dead_time_s"]
    window_s = float(problem.windows_s.mean())
    if problem.dead_time_s is not None or window_s < 0.5 * (high_s - low_s):
        return []
    return [
        f"the input changed somewhere between two rows {window_s:.2g} s apart; "
        "that makes most of the dead time's interval, faster sampling narrows it"
    ]
