"""The fault campaign as a part of an acceptance: kept as rows, judged from them."""

import csv
from collections.abc import Callable
from dataclasses import fields
from pathlib import Path

import numpy as np

from host_sim.accept.folder import Folder
from host_sim.device.fault_campaign import (
    FaultRun,
    Make,
    Traces,
    judge_traces,
    run_campaign,
)
from host_sim.errors import InputError
from host_sim.scenario.load import Scenario

NAME = "faults"
COLUMNS = [field.name for field in fields(Traces) if field.name != "tick_s"]
HEADINGS = ["fault", "moment", *COLUMNS]
WHOLE = ("held", "present", "condition", "active")


def run_faults(
    scenario: Scenario,
    folder: Folder,
    make: Make,
    progress: Callable[[str, float], None],
) -> str:
    """Run the campaign, if the folder lacks it; return what stopped it, or ""."""
    if folder.is_finished(NAME):
        return ""
    try:
        runs = run_campaign(scenario, progress, make)
    except KeyboardInterrupt:
        return "interrupted during 'faults'"
    except InputError as lost:
        return f"during 'faults': {lost}"
    folder.keep_file(NAME, lambda path: _write(path, runs))
    return ""


def _write(path: Path, runs: list[FaultRun]) -> int:
    rows = 0
    with path.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow(HEADINGS)
        for run in runs:
            columns = [getattr(run.traces, name).tolist() for name in COLUMNS]
            for row in zip(*columns, strict=True):
                writer.writerow((run.label, run.moment, *map(repr, row)))
                rows += 1
    return rows


def read_faults(scenario: Scenario, folder: Folder) -> list[FaultRun]:
    """Judge the campaign from its rows; nothing where it was not run.

    Raises
    ------
    InputError
        The file was edited, is damaged or gone.
    """
    if not folder.is_finished(NAME):
        return []
    path = folder.checked(NAME)
    runs: dict[tuple[str, str], list[list[str]]] = {}
    with path.open(encoding="utf-8", newline="") as stream:
        for fault, moment, *numbers in list(csv.reader(stream))[1:]:
            runs.setdefault((fault, moment), []).append(numbers)
    return [
        judge_traces(scenario, fault, moment, _traces(scenario, rows))
        for (fault, moment), rows in runs.items()
    ]


def _traces(scenario: Scenario, rows: list[list[str]]) -> Traces:
    table = np.array(rows, dtype=np.float64).T
    columns = {
        name: column.astype(np.int64) if name in WHOLE else column
        for name, column in zip(COLUMNS, table, strict=True)
    }
    return Traces(scenario.law.tick_s, **columns)
