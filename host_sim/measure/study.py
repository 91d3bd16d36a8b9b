"""One scenario studied: run on integers and in float, measured, explained."""

from collections.abc import Callable
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from host_sim.law.block import Block
from host_sim.law.quantise import quantise
from host_sim.law.read_back import kept_gains, read_back
from host_sim.law.reference import FloatController
from host_sim.law.settings import Pid
from host_sim.loop.engine import Engine, run
from host_sim.loop.integration import integration_error_pa
from host_sim.loop.loop import run_scenario
from host_sim.loop.record import Run
from host_sim.measure.agreement import Agreement, compare_runs
from host_sim.measure.answer import Answer, measure_run
from host_sim.plant.plant import Plant
from host_sim.scenario.load import Scenario

Progress = Callable[[int], None]
HOLD_ERROR_WORTH_A_WORD = 1e-3


@dataclass(frozen=True)
class Study:
    """A scenario, its run on the board's law, and what it was worth."""

    scenario: Scenario
    block: Block
    run: Run
    answer: Answer
    agreement: Agreement | None
    substeps: int
    fastest_part: str
    fastest_time_constant_s: float
    integration_error_percent: float


def study(
    scenario: Scenario, each_tick: Progress | None = None, engine: Engine = "auto"
) -> Study:
    """Run a scenario on the integer law and on the float reference.

    The reference runs on the quantised settings, so that the agreement shows
    the law's own rounding.

    Parameters
    ----------
    scenario : Scenario
    engine : str
        For the integer law; the reference is plain Python.
    each_tick : callable, optional
        Called after each tick of either run.

    Returns
    -------
    Study
        Without agreement when interrupted.
    """
    return study_run(scenario, run(scenario, engine, each_tick), each_tick, engine)


def study_run(
    scenario: Scenario,
    done: Run,
    each_tick: Progress | None = None,
    engine: Engine = "auto",
) -> Study:
    """Study a run that is there, whoever ran the integer law in it.

    Parameters
    ----------
    scenario : Scenario
    done : Run
    each_tick : callable, optional
        Called after each tick of the float reference.
    engine : str
        For the estimate of the integration error.

    Returns
    -------
    Study
        Without agreement when the run, or the reference's, is not whole.
    """
    block = quantise(scenario.law)
    agreement = None
    low_pa, high_pa = scenario.pressure_range_pa
    if done.ticks == scenario.ticks:
        reference = FloatController(read_back(block))
        other = run_scenario(scenario, reference, each_tick)
        if other.ticks == done.ticks:
            agreement = compare_runs(done, other, high_pa - low_pa)
    plant = Plant(scenario.plant, scenario.law.tick_s)
    error_pa = integration_error_pa(scenario, done, engine)
    return Study(
        scenario=scenario,
        block=block,
        run=done,
        answer=measure_run(scenario, done),
        agreement=agreement,
        substeps=plant.substeps,
        fastest_part=plant.fastest_name,
        fastest_time_constant_s=plant.fastest_time_constant_s,
        integration_error_percent=100.0 * error_pa / (high_pa - low_pa),
    )


def study_notes(study: Study) -> list[str]:
    """Collect what a reader should know: command, hold curve, run."""
    notes = [*study.scenario.notes, *study.answer.notes]
    worst = hold_error(study.scenario.law.pid, read_back(study.block).pid)
    if worst > HOLD_ERROR_WORTH_A_WORD:
        notes.append(
            "controller.hold: the board keeps it at points 8.192 % apart, up to "
            f"{100 * worst:.2g} % of full drive off; let its kinks lie on them"
        )
    return notes


def hold_error(wanted: Pid, kept: Pid) -> float:
    """Find the largest distance of two hold curves, as a share of full drive."""
    if not wanted.hold:
        return 0.0
    at = np.linspace(0.0, 1.1, 1_101)
    curves = [
        np.interp(at, [x for x, _ in pid.hold], [y for _, y in pid.hold])
        for pid in (wanted, kept)
    ]
    return float(np.abs(curves[0] - curves[1]).max())


def study_as_dict(study: Study) -> dict[str, Any]:
    """Turn a study into plain numbers and words, units in the keys."""
    scenario, air = study.scenario, study.scenario.plant.arrangement.air
    return {
        "title": scenario.title,
        "tick_s": scenario.law.tick_s,
        "ticks": study.run.ticks,
        "steps": [asdict(step) for step in study.answer.steps],
        "output": asdict(study.answer.output),
        "air_used": asdict(study.answer.air),
        "gains": [
            {**asdict(gain), "relative_error": gain.relative_error}
            for gain in kept_gains(scenario.law, study.block)
        ],
        "integer_against_float": study.agreement and asdict(study.agreement),
        "plant": {
            "substeps_per_tick": study.substeps,
            "fastest_part": study.fastest_part,
            "fastest_time_constant_s": study.fastest_time_constant_s,
            "integration_error_percent": study.integration_error_percent,
            "air": asdict(air),
        },
        "notes": study_notes(study),
    }
