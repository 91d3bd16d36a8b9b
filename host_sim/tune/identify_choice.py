"""Which of the fitted models a record speaks for."""

import math
from dataclasses import dataclass

import numpy as np

from host_sim.measure.curve import FloatArray
from host_sim.tune.identify_fit import Fit, Problem, fit_form
from host_sim.tune.identify_intervals import FINEST, independent_rows, lag_one
from host_sim.tune.models import SHAPES


@dataclass(frozen=True)
class Candidate:
    """A fit and how it does among its rivals.

    Attributes
    ----------
    fit : Fit
    residual_pa : float
        Standard deviation of the residuals [Pa].
    fit_percent : float
        ``100 (1 - residual / deviation of the record)``: 100 is perfect, 0 no
        better than a constant.
    correlation : float
        Autocorrelation of the residuals from row to row, 0 ... 1.
    criterion : float
        Information criterion, less is better; the best has 0.
    """

    fit: Fit
    residual_pa: float
    fit_percent: float
    correlation: float
    criterion: float


def fit_all(problem: Problem) -> list[Candidate]:
    """Fit every form; the best comes first.

    The criterion is ``n ln(residual^2) + parameters ln(n)``, with n the rows that
    the correlation of the best fit's residuals leaves independent.

    Parameters
    ----------
    problem : Problem

    Returns
    -------
    list of Candidate
        One for each form.

    Notes
    -----
    Source: Schwarz, Annals of Statistics 6 (1978) 461, from memory; the
    effective number of rows is common practice.
    """
    fits = [fit_form(problem, form) for form in SHAPES]
    best = min((_residuals(problem, fit) for fit in fits), key=lambda e: float(e @ e))
    rows = independent_rows(len(best), lag_one(best))
    criteria = [_criterion(problem, fit, rows) for fit in fits]
    least = min(criteria)
    candidates = [
        _candidate(problem, fit, criterion - least)
        for criterion, fit in zip(criteria, fits, strict=True)
    ]
    return sorted(candidates, key=lambda candidate: candidate.criterion)


def _residuals(problem: Problem, fit: Fit) -> FloatArray:
    return fit.fitted_pa - problem.record.pressure_pa


def finest_pa(problem: Problem) -> float:
    """Residual below which no record tells anything [Pa]."""
    span_pa = float(np.ptp(problem.record.pressure_pa))
    return 0.5 * max(problem.quantum_pa / math.sqrt(12.0), FINEST * span_pa)


def _criterion(problem: Problem, fit: Fit, rows: float) -> float:
    """``n ln(residual^2) + k ln(n)``."""
    power = float(np.mean(_residuals(problem, fit) ** 2))
    power = max(power, finest_pa(problem) ** 2)
    return rows * math.log(power) + fit.parameters * math.log(rows)


def _candidate(problem: Problem, fit: Fit, criterion: float) -> Candidate:
    residuals = _residuals(problem, fit)
    residual_pa = float(np.std(residuals))
    deviation_pa = float(np.std(problem.record.pressure_pa))
    share = residual_pa / deviation_pa if deviation_pa > 0.0 else 1.0
    return Candidate(
        fit, residual_pa, 100.0 * (1.0 - share), lag_one(residuals), criterion
    )
