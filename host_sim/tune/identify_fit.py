"""Linear models fitted to a whole record at once.

All steps count together: the models are linear, so the answers to several steps
add up, and each further step narrows the intervals. For given shape and dead
time the best gain, offset and trend follow by linear least squares; what is left
to search has at most three dimensions, so a coarse grid finds the valley and
`scipy.optimize.least_squares` its floor.
"""

import itertools
import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from host_sim.measure.curve import FloatArray
from host_sim.tune.identify_intervals import Evidence, half_widths
from host_sim.tune.identify_signal import (
    change_windows_s,
    held_input,
    level_errors,
    quantum_of,
)
from host_sim.tune.models import (
    FIRST,
    INTEGRATING,
    SECOND,
    SHAPES,
    Form,
    HeldInput,
    Model,
    unit_answer,
)
from host_sim.tune.record import Record

_GRID_ROWS = 400
_GRID_TIMES = 10
_GRID_DEAD_TIMES = 12
_GRID_DAMPINGS = (0.3, 0.9, 2.5)
_DAMPINGS = (0.03, 12.0)
_STARTS = 2
_MOST_CHANGES = 60
_SMALLEST_CHANGE = 0.01
_STEP_RELATIVE = 1e-4
_WIDEST_LOG = 50.0


@dataclass(frozen=True)
class Problem:
    """A record, its held input, and what is known beforehand.

    ``windows_s`` is the time between the two rows that enclose each change,
    ``errors`` the standard error of each level; ``dead_time_s`` is None where it
    is to be found.
    """

    record: Record
    held: HeldInput
    windows_s: FloatArray
    errors: FloatArray
    quantum_pa: float
    dead_time_s: float | None

    @classmethod
    def of(cls, record: Record, dead_time_s: float | None = None) -> "Problem":
        """Prepare a record."""
        held, quantum_pa = held_input(record), quantum_of(record.pressure_pa)
        windows_s, errors = change_windows_s(record, held), level_errors(record, held)
        return cls(record, held, windows_s, errors, quantum_pa, dead_time_s)

    @property
    def span_s(self) -> float:
        """From the first change of the input to the end [s]."""
        return float(self.record.time_s[-1] - self.held.times_s[0])


@dataclass(frozen=True)
class Fit:
    """A model fitted to a record.

    Attributes
    ----------
    model : Model
    intervals : dict
        Parameter name to (low, high): all hold together in 95 of 100 records.
    offset_pa, trend_pa_s : float
        Pressure at the first row before any change; slow drift. An integrator's
        trend is what its input at the start does.
    fitted_pa : ndarray
        Pressure of the model at each row [Pa].
    parameters : int
        Number of fitted numbers.
    evidence : Evidence
        What the intervals come from.
    """

    model: Model
    intervals: dict[str, tuple[float, float]]
    offset_pa: float
    trend_pa_s: float
    fitted_pa: FloatArray
    parameters: int
    evidence: Evidence


def fit_form(problem: Problem, form: Form) -> Fit:
    """Fit one form of model, with a slow trend.

    ``p = offset + trend t + K x(t - L)``, x from `unit_answer`, to all rows. The
    trend is always there: to leave it out where it does not show would make the
    intervals too narrow for records that have a little of it.

    Parameters
    ----------
    problem : Problem
    form : str

    Returns
    -------
    Fit

    Notes
    -----
    Source: separable least squares, Golub and Pereyra, SIAM J. Numer. Anal. 10
    (1973) 413, from memory.
    """
    search = _Search(problem, form)
    point = search.minimise()
    columns = search.columns(point)
    weights, residuals_pa = _solve(columns, search.pressure_pa)
    shape, dead_time_s = search.meaning(point)
    model = Model(form, float(weights[0]), dead_time_s, *shape)
    evidence = search.evidence(point, columns, weights, residuals_pa)
    wanted = np.eye(1 + len(point), len(weights) + len(point))
    widths = half_widths(evidence, wanted)
    return Fit(
        model=model,
        intervals=_intervals(model, widths),
        offset_pa=float(weights[1]),
        trend_pa_s=float(weights[2]) / search.duration_s,
        fitted_pa=evidence.fitted_pa,
        parameters=len(weights) + len(point),
        evidence=evidence,
    )


def predict(fit: Fit, held: HeldInput, time_s: FloatArray) -> FloatArray:
    """Pressure of a fitted model at any times [Pa]."""
    model = fit.model
    answer = unit_answer(model.form, model.shape, held, time_s - model.dead_time_s)
    return fit.offset_pa + fit.trend_pa_s * time_s + model.gain * answer


def least_power(problem: Problem, form: Form) -> float:
    """Mean square of the residuals of the best fit of a form [Pa^2].

    Unlike `fit_form`, it takes a known dead time below 0 as well.
    """
    search = _Search(problem, form)
    columns = search.columns(search.minimise())
    return float(np.mean(_solve(columns, search.pressure_pa)[1] ** 2))


def _solve(
    columns: FloatArray, pressure_pa: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Best weights of the columns, and the residuals."""
    weights: FloatArray = np.linalg.lstsq(columns, pressure_pa)[0].astype(np.float64)
    return weights, columns @ weights - pressure_pa


class _Search:
    """The search for a ``point = (ln shape ..., L)``."""

    def __init__(self, problem: Problem, form: Form) -> None:
        record = problem.record
        self.problem, self.form = problem, form
        self.time_s, self.pressure_pa = record.time_s, record.pressure_pa
        self.duration_s = float(record.time_s[-1])
        self.interval_s = record.interval_s
        self.frees_dead_time = problem.dead_time_s is None

    def meaning(self, point: FloatArray) -> tuple[tuple[float, ...], float]:
        """Shape and dead time of a point."""
        count = len(SHAPES[self.form])
        shape = tuple(math.exp(number) for number in point[:count])
        known_s = self.problem.dead_time_s
        return shape, float(point[count]) if known_s is None else known_s

    def columns(self, point: FloatArray, every: int = 1) -> FloatArray:
        """Columns of the linear problem: answer, one, time."""
        shape, dead_time_s = self.meaning(point)
        time_s = self.time_s[::every]
        answer = unit_answer(self.form, shape, self.problem.held, time_s - dead_time_s)
        return np.column_stack((answer, np.ones_like(time_s), time_s / self.duration_s))

    def _grid(self) -> list[FloatArray]:
        """Coarse points, dead times denser where rows tell them apart."""
        span_s, interval_s = self.problem.span_s, self.interval_s
        times = np.log(np.geomspace(0.5 * interval_s, span_s, _GRID_TIMES))
        dampings = np.log(_GRID_DAMPINGS)
        longest_s = max(0.5 * span_s, 5.0 * interval_s)
        early_s = interval_s * np.arange(4.0)
        late_s = np.geomspace(4.0 * interval_s, longest_s, _GRID_DEAD_TIMES)
        axes = {FIRST: [times], SECOND: [times, dampings], INTEGRATING: []}[self.form]
        if self.frees_dead_time:
            axes = [*axes, np.concatenate((early_s, late_s))]
        return [np.array(point) for point in itertools.product(*axes)]

    def _bounds(self) -> tuple[FloatArray, FloatArray]:
        span_s = self.problem.span_s
        low, high = [], []
        if self.form != INTEGRATING:
            low.append(math.log(0.02 * self.interval_s))
            high.append(math.log(20.0 * span_s))
        if self.form == SECOND:
            low.append(math.log(_DAMPINGS[0]))
            high.append(math.log(_DAMPINGS[1]))
        if self.frees_dead_time:
            low.append(0.0)
            high.append(span_s)
        return np.array(low), np.array(high)

    def minimise(self) -> FloatArray:
        """Find the point of the least sum of squares."""
        grid = self._grid()
        every = -(-len(self.time_s) // _GRID_ROWS)
        coarse_pa = self.pressure_pa[::every]
        costs = [
            float(np.sum(_solve(self.columns(point, every), coarse_pa)[1] ** 2))
            for point in grid
        ]
        if not len(grid[0]):
            return grid[0]
        starts = [grid[k] for k in np.argsort(costs)[:_STARTS]]
        found = [self._descend(start) for start in starts]
        if self.frees_dead_time:
            # Each row that the answer reaches bends the sum of squares, so that a
            # descent may stop a little short.
            middle = min(found, key=_cost)[1]
            for share in (-0.5, 0.5):
                beside = middle.copy()
                beside[-1] += share * self.interval_s
                found.append(self._descend(beside))
        return min(found, key=_cost)[1]

    def _descend(self, start: FloatArray) -> tuple[float, FloatArray]:
        low, high = self._bounds()
        size_pa = float(np.std(self.pressure_pa)) or 1.0
        scales = np.ones(len(start))
        if self.frees_dead_time:
            scales[-1] = self.interval_s
        found = least_squares(
            lambda point: _solve(self.columns(point), self.pressure_pa)[1] / size_pa,
            np.clip(start, low, high),
            bounds=(low, high),
            x_scale=scales,
            diff_step=1e-6,
            ftol=1e-11,
            xtol=1e-9,
            gtol=1e-12,
        )
        return float(found.cost), found.x

    def evidence(
        self,
        point: FloatArray,
        columns: FloatArray,
        weights: FloatArray,
        residuals_pa: FloatArray,
    ) -> Evidence:
        """Collect what intervals come from, wanted parameters first."""
        slopes = []
        for k in range(len(point)):
            is_dead_time = self.frees_dead_time and k == len(point) - 1
            width = _STEP_RELATIVE * (self.interval_s if is_dead_time else 1.0)
            ahead, behind = point.copy(), point.copy()
            ahead[k] += width
            behind[k] -= width
            difference = self.columns(ahead)[:, 0] - self.columns(behind)[:, 0]
            slopes.append(weights[0] * difference / (2.0 * width))
        jacobian = np.column_stack((columns[:, 0], *slopes, columns[:, 1:]))
        fitted_pa = residuals_pa + self.pressure_pa
        gain, problem = float(weights[0]), self.problem
        moved_pa = [
            self._moved_pa(point, gain, *single) for single in _larger_changes(problem)
        ]
        return Evidence(
            jacobian=jacobian,
            residuals_pa=residuals_pa,
            fitted_pa=fitted_pa,
            quantum_pa=self.problem.quantum_pa,
            moved_pa=np.column_stack(moved_pa),
            late_pa=self._moved_pa(point, gain, problem.held, problem.windows_s),
            levels_pa=self._levels_pa(point, gain),
        )

    def _moved_pa(
        self, point: FloatArray, gain: float, held: HeldInput, windows_s: FloatArray
    ) -> FloatArray:
        """Change of the fit if changes came later by their windows."""
        shape, dead_time_s = self.meaning(point)
        answers = [
            unit_answer(
                self.form,
                shape,
                HeldInput(
                    held.times_s + sign * _STEP_RELATIVE * windows_s, held.levels
                ),
                self.time_s - dead_time_s,
            )
            for sign in (1.0, -1.0)
        ]
        return gain * (answers[0] - answers[1]) / (2.0 * _STEP_RELATIVE)

    def _levels_pa(self, point: FloatArray, gain: float) -> FloatArray:
        """Change of the fit if one level were off by its standard error."""
        shape, dead_time_s = self.meaning(point)
        held, errors = self.problem.held, self.problem.errors
        times_s = np.concatenate(([-math.inf], held.times_s, [math.inf]))
        moved = [np.empty((len(self.time_s), 0))]
        for k in np.argsort(-errors, kind="stable")[:_MOST_CHANGES].tolist():
            if errors[k] > 0.0:
                levels = np.array([0.0, errors[k], 0.0])
                inside = np.isfinite(times_s[k : k + 2])
                # The first level has no beginning, the last one no end.
                kept = levels[1 - inside[0] : 2 + inside[1]]
                pulse = HeldInput(times_s[k : k + 2][inside], kept)
                answer = unit_answer(self.form, shape, pulse, self.time_s - dead_time_s)
                moved.append(gain * answer[:, None])
        return np.hstack(moved)


def _cost(found: tuple[float, FloatArray]) -> float:
    return found[0]


def _larger_changes(problem: Problem) -> list[tuple[HeldInput, FloatArray]]:
    """Split off each of the larger changes, with its window."""
    held = problem.held
    heights = np.abs(held.changes)
    larger = np.flatnonzero(heights >= _SMALLEST_CHANGE * heights.max())
    larger = larger[np.argsort(-heights[larger], kind="stable")][:_MOST_CHANGES]
    return [
        (
            HeldInput(held.times_s[k : k + 1], held.levels[k : k + 2]),
            problem.windows_s[k : k + 1],
        )
        for k in larger.tolist()
    ]


def _intervals(model: Model, widths: FloatArray) -> dict[str, tuple[float, float]]:
    """Intervals of gain, shape (about the logarithm) and dead time."""
    known_s = model.dead_time_s
    found = {"dead_time_s": (known_s, known_s)}
    names = ["gain", *SHAPES[model.form], "dead_time_s"]
    # A known dead time has no width.
    for name, width in zip(names, widths.tolist(), strict=False):
        number = getattr(model, name)
        if name in SHAPES[model.form]:
            # A factor beyond all measure is no knowledge.
            factor = math.exp(width) if width < _WIDEST_LOG else math.inf
            found[name] = (number / factor, number * factor)
        else:
            lowest = 0.0 if name == "dead_time_s" else -math.inf
            found[name] = (max(number - width, lowest), number + width)
    return {name: found[name] for name in names}
