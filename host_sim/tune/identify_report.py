"""All that a record tells, asked at once, and as plain numbers."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from host_sim.errors import InputError
from host_sim.scenario.load import Scenario
from host_sim.tune.identify import Identification, identify
from host_sim.tune.identify_choice import Candidate
from host_sim.tune.identify_plant import PlantFit, fit_plant
from host_sim.tune.identify_plant_search import Known
from host_sim.tune.identify_signal import Step
from host_sim.tune.models import INTEGRATING
from host_sim.tune.record import Record

ASSUMPTIONS = {
    "ratio": "the input is a drive: the model is that of valve and load, whatever "
    "moved the drive",
    "current": "the input is a command current: if a controller was in automatic, "
    "this is a model of the closed loop, not of the valve",
    "pressure": "the input is a set point: if a controller was in automatic, this is "
    "a model of the closed loop, not of the valve",
}
"""What the model's input is, by the kind of the input column."""


@dataclass(frozen=True)
class Lesson:
    """Linear models of a record, its physical plant, or both.

    ``refused`` says why there is no linear model, where the plant still could
    be found.
    """

    record: Record
    steps: tuple[Step, ...]
    linear: Identification | None
    refused: str
    plant: PlantFit | None

    @property
    def notes(self) -> tuple[str, ...]:
        """What deserves doubt, of all parts."""
        notes = self.linear.notes if self.linear else self.record.notes
        refused = (f"linear model refused: {self.refused}",) if self.refused else ()
        return (*notes, *refused, *(self.plant.notes if self.plant else ()))


def learn(
    record: Record,
    dead_time_s: float | None = None,
    scenario: Scenario | None = None,
    known: Known = "volume",
    each_run: Callable[[str], None] | None = None,
) -> Lesson:
    """Ask a record for linear models, and for a scenario's plant.

    A plant may be found where a linear model cannot: in a record that ends while
    the pressure moves, for example.

    Parameters
    ----------
    record, dead_time_s
        As `identify`.
    scenario, known, each_run
        As `fit_plant`.

    Returns
    -------
    Lesson

    Raises
    ------
    InputError
        Without a scenario as `identify`, with one as `fit_plant`.
    """
    if scenario is None:
        linear = identify(record, dead_time_s)
        return Lesson(record, linear.steps, linear, "", None)
    plant = fit_plant(record, scenario, known, each_run)
    try:
        return Lesson(record, plant.steps, identify(record, dead_time_s), "", plant)
    except InputError as error:
        refused = str(error).removeprefix(f"{record.file}: ")
        return Lesson(record, plant.steps, None, refused, plant)


def lesson_as_dict(lesson: Lesson) -> dict[str, Any]:
    """Turn a lesson into what ``--json`` prints, units in the keys.

    The input unit is "1" (a drive, 1 is full), "mA" or "Pa".
    """
    record, linear = lesson.record, lesson.linear
    return {
        "record": record.file,
        "input": record.signal.name,
        "input_unit": record.signal.unit,
        "assumed": ASSUMPTIONS[record.signal.kind],
        "pressure": record.pressure_name,
        "rows": len(record.time_s),
        "interval_s": record.interval_s,
        "duration_s": float(record.time_s[-1]),
        "steps": [
            {
                "start_s": step.start_s,
                "end_s": step.end_s,
                "input_before": step.before,
                "input_after": step.after,
            }
            for step in lesson.steps
        ],
        "noise_pa": linear and linear.noise_pa,
        "resolution_pa": linear and linear.quantum_pa,
        "chosen": linear and linear.best.fit.model.form,
        "fits": [_candidate(one) for one in linear.candidates] if linear else [],
        "plant": lesson.plant and _plant(lesson.plant),
        "notes": lesson.notes,
    }


def _candidate(candidate: Candidate) -> dict[str, Any]:
    fit = candidate.fit
    rate = "_s" if fit.model.form == INTEGRATING else ""
    keys = {name: name for name in fit.intervals}
    keys["gain"] = f"gain_pa{rate}_per_input_unit"
    return {
        "form": fit.model.form,
        **{key: getattr(fit.model, name) for name, key in keys.items()},
        "lags_s": fit.model.lags_s,
        "intervals": {key: fit.intervals[name] for name, key in keys.items()},
        "trend_pa_s": fit.trend_pa_s,
        "fit_percent": candidate.fit_percent,
        "residual_pa": candidate.residual_pa,
        "residual_correlation": candidate.correlation,
        "criterion": candidate.criterion,
    }


def _plant(fit: PlantFit) -> dict[str, Any]:
    return {
        "known": fit.known,
        **fit.numbers,
        "intervals": fit.intervals,
        "fit_percent": fit.fit_percent,
        "residual_pa": fit.residual_pa,
        "residual_correlation": fit.correlation,
    }
