"""From a recorded run to the figures that a practitioner asks for."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from host_sim.law.controller import FAULTS
from host_sim.law.settings import Command
from host_sim.loop.record import Run
from host_sim.loop.sampling import sampling_note
from host_sim.measure.effort import AirUse, OutputMetrics, air_used, measure_output
from host_sim.measure.step_metrics import StepMetrics, measure_steps
from host_sim.scenario.load import Scenario

SMALLEST_STEP = 0.01
SHORTEST_STEP_TICKS = 10
LONGEST_PAUSE_TICKS = 20
TICKS_IN_A_RISE = 10


@dataclass(frozen=True)
class Answer:
    """Step by step metrics, and the effort of the whole run."""

    steps: tuple[StepMetrics, ...]
    output: OutputMetrics
    air: AirUse
    notes: tuple[str, ...]


def measure_run(scenario: Scenario, run: Run) -> Answer:
    """Measure every step of the command that is worth the name.

    A step is a change of the set point by at least 1 % of the range that lasts
    at least 10 ticks.

    Parameters
    ----------
    scenario : Scenario
    run : Run
        A run of it, whole or interrupted.

    Returns
    -------
    Answer
    """
    steps, notes = find_steps(scenario, run.ticks)
    too_slow = sampling_note(scenario)
    if too_slow is not None:
        notes.append(too_slow)
    if run.ticks < scenario.ticks:
        notes.append(f"stopped at {run.time_s[-1]:g} s of {scenario.duration_s:g} s")
    low_pa, high_pa = scenario.pressure_range_pa
    band_pa = scenario.settle_band * (high_pa - low_pa)
    metrics = measure_steps(run.time_s, run.columns["load_pa"], steps, band_pa=band_pa)
    if not metrics:
        notes.append("no step of at least 1 % of the range to measure in this run")
    notes += fault_notes(run)
    for step in metrics:
        if step.rise_time_s is not None:
            notes += _rise_note(step, run.tick_s)
    return Answer(
        steps=tuple(metrics),
        output=measure_output(run.columns["drive_percent"] / 100),
        air=air_used(run.columns["air_used_kg"], scenario.plant.arrangement.air),
        notes=tuple(notes),
    )


@dataclass
class _Move:
    """A change of the set point, as fractions of the range."""

    start_s: float
    end_s: float
    before: float
    after: float


def find_steps(
    scenario: Scenario, ticks: int
) -> tuple[list[tuple[float, float, float]], list[str]]:
    """List the set-point steps: (time s, from Pa, to Pa), and what was left out.

    Changes in the same direction, at most 20 ticks apart, are one step that
    begins with the first: a logger shows a ramp as many small ones.
    """
    low_pa, high_pa = scenario.pressure_range_pa
    span_pa, tick_s = high_pa - low_pa, scenario.law.tick_s
    moves = [m for m in _moves(scenario) if abs(m.after - m.before) >= SMALLEST_STEP]
    ends_s = [*(m.start_s for m in moves[1:]), ticks * tick_s]
    steps = [
        (move.start_s, low_pa + move.before * span_pa, low_pa + move.after * span_pa)
        for move, end_s in zip(moves, ends_s[: len(moves)], strict=True)
        if min(end_s, ticks * tick_s) - move.start_s >= SHORTEST_STEP_TICKS * tick_s
    ]
    short = len(moves) - len(steps)
    notes = [f"{short} steps shorter than 10 ticks were not measured"] if short else []
    return steps, notes


def _moves(scenario: Scenario) -> list[_Move]:
    profile, command = scenario.profile, scenario.law.command
    levels = _levels(command, profile.currents_ma)
    longest_pause_s = LONGEST_PAUSE_TICKS * scenario.law.tick_s
    moves: list[_Move] = []
    for time_s, (before, after) in zip(
        profile.times_s[1:], pairwise(levels), strict=True
    ):
        last = moves[-1] if moves else None
        if after == before:
            continue
        if (
            last is not None
            and time_s - last.end_s <= longest_pause_s
            and (after - before) * (last.after - last.before) > 0.0
        ):
            last.end_s, last.after = time_s, after
        else:
            moves.append(_Move(time_s, time_s, before, after))
    return moves


def _levels(command: Command, currents_ma: Sequence[float]) -> list[float]:
    """Turn currents into set points; a bad one keeps the last, as the law does."""
    levels: list[float] = []
    for current_ma in currents_ma:
        good = command.low_fault_ma < current_ma < command.high_fault_ma
        kept = levels[-1] if levels else 0.0
        levels.append(command.setpoint(current_ma) if good else kept)
    return levels


def fault_notes(run: Run) -> list[str]:
    """Say from when to when each fault was present."""
    bits = run.columns["fault_bits"].astype(int)
    notes = []
    for k, name in enumerate(FAULTS):
        edges = np.diff(np.concatenate(([0], bits >> k & 1, [0])))
        for start, end in zip(
            np.flatnonzero(edges == 1), np.flatnonzero(edges == -1), strict=True
        ):
            notes.append(
                f"FAULT: {name} from {start * run.tick_s:g} s to {end * run.tick_s:g} s"
            )
    return notes


def _rise_note(step: StepMetrics, tick_s: float) -> list[str]:
    rise_ticks = (step.rise_time_s or 0.0) / tick_s
    if rise_ticks >= TICKS_IN_A_RISE:
        return []
    return [
        f"tick too slow for the step at {step.step_time_s:g} s: it rises in "
        f"{rise_ticks:.1f} ticks; common practice is {TICKS_IN_A_RISE} or more"
    ]
