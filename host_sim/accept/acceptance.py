"""A full acceptance: sequences run or read back, figures, verdicts."""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from host_sim.accept.bench import Sequence, unable
from host_sim.accept.faults import read_faults
from host_sim.accept.figures import FIGURES, Figure
from host_sim.accept.folder import SCENARIO, Folder
from host_sim.accept.limits import Limits, read_limits
from host_sim.accept.model_rig import stated_range
from host_sim.accept.plan import plan
from host_sim.accept.rig import Rig
from host_sim.accept.rows import Rows
from host_sim.accept.run import run_sequence
from host_sim.accept.verdicts import FAIL, NOT_MEASURED, Verdict, judge
from host_sim.device.fault_campaign import FaultRun
from host_sim.errors import InputError
from host_sim.scenario.load import Scenario, load_scenario

NOT_RUN = "not run"
MakeRig = Callable[[], Rig]
Progress = Callable[[str, float], None]


@dataclass(frozen=True)
class SequenceResult:
    """One sequence: its rows, figures and verdicts; no rows where it was not run."""

    name: str
    finished: bool
    rows: Rows
    verdicts: tuple[Verdict, ...]


@dataclass(frozen=True)
class Acceptance:
    """All sequences of one device, judged.

    ``made_with`` is the manifest's; ``faults`` is the campaign's, empty where the
    device has no supervisor; ``stopped`` says what ended a run early.
    """

    scenario: Scenario
    made_with: dict[str, Any]
    results: tuple[SequenceResult, ...]
    faults: tuple[FaultRun, ...]
    limits: Limits | None
    stopped: str

    @property
    def verdicts(self) -> list[Verdict]:
        """All verdicts, in order."""
        return [verdict for result in self.results for verdict in result.verdicts]

    @property
    def is_complete(self) -> bool:
        """Whether every sequence was run to its end."""
        return all(result.finished for result in self.results)

    @property
    def passes(self) -> bool:
        """Whether all is complete and every limit is held by a measured figure."""
        bad = [
            verdict
            for verdict in self.verdicts
            if verdict.word == FAIL
            or (verdict.word == NOT_MEASURED and verdict.limit is not None)
        ]
        as_stated = all(run.as_stated for run in self.faults)
        return self.is_complete and as_stated and not bad


def run_acceptance(
    scenario: Scenario, folder: Folder, make_rig: MakeRig, progress: Progress
) -> str:
    """Run what the folder lacks, and keep each sequence as it is finished.

    Parameters
    ----------
    scenario : Scenario
    folder : Folder
    make_rig : callable
        Makes a rig as after power-up; each sequence has its own.
    progress : callable
        Called with what is done now and the share done in all.

    Returns
    -------
    str
        What stopped it: a device that died, or Ctrl-C; "" when all was run.
    """
    sequences = plan(scenario)
    for place, sequence in enumerate(sequences):
        if folder.is_finished(sequence.name):
            continue
        share = place / len(sequences)
        progress(sequence.name, share)
        try:
            rig = make_rig()
            if not unable(sequence, rig):
                done = run_sequence(sequence, rig, stated_range(scenario))
                folder.keep(sequence.name, done.rows)
            else:
                folder.keep(sequence.name, Rows())
        except KeyboardInterrupt:
            return f"interrupted during {sequence.name!r}"
        except InputError as lost:
            return f"during {sequence.name!r}: {lost}"
    progress("evaluating", 1.0)
    return ""


def evaluate_folder(folder: Folder, stopped: str = "") -> Acceptance:
    """Work every figure out from a folder's rows, and judge it.

    Parameters
    ----------
    folder : Folder
    stopped : str
        As `run_acceptance` returned it.

    Raises
    ------
    InputError
        A file that was edited by hand, or limits or scenario that are not right.
    """
    folder.check_copies()
    scenario = load_scenario(folder.path / SCENARIO)
    limits = _limits(folder.limits, scenario)
    figures: dict[str, list[Figure]] = {}
    rows: dict[str, Rows] = {}
    for sequence in plan(scenario):
        name = sequence.name
        rows[name] = folder.rows(name) if folder.is_finished(name) else Rows()
        figures[name] = _figures(sequence, rows[name], scenario)
    _subtract_dead_band(figures)
    results = tuple(
        SequenceResult(
            name=name,
            finished=folder.is_finished(name),
            rows=rows[name],
            verdicts=tuple(judge(found, limits)),
        )
        for name, found in figures.items()
    )
    made_with = dict(folder.manifest["made_with"])
    faults = tuple(read_faults(scenario, folder))
    return Acceptance(scenario, made_with, results, faults, limits, stopped)


def _figures(sequence: Sequence, rows: Rows, scenario: Scenario) -> list[Figure]:
    if not rows.table:
        return [Figure(name, NOT_RUN, None) for name in sequence.figures]
    return sequence.evaluate(rows, stated_range(scenario))


def _subtract_dead_band(figures: dict[str, list[Figure]]) -> None:
    """Give hysteresis alone: it needs the dead band, which another sequence finds."""
    found = {figure.name: figure for each in figures.values() for figure in each}
    whole, dead = found.get("hysteresis"), found.get("dead_band")
    if whole is None or dead is None or None in (whole.measured, dead.measured):
        return
    assert whole.measured is not None
    assert dead.measured is not None
    if not math.isfinite(dead.measured):
        return
    alone = max(whole.measured - dead.measured, 0.0)
    for name, each in figures.items():
        figures[name] = [
            replace(f, measured=alone, text="hysteresis less the dead band")
            if f.name == "hysteresis_alone"
            else f
            for f in each
        ]


def _limits(path: Path | None, scenario: Scenario) -> Limits | None:
    if path is None:
        return None
    low_pa, high_pa = scenario.pressure_range_pa
    basis = replace(scenario.basis, span_pa=high_pa - low_pa)
    limits = read_limits(path, basis)
    assert limits.limits.keys() <= FIGURES.keys()
    return limits
