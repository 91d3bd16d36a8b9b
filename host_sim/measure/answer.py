"""From a recorded run to the figures that a practitioner asks for."""

from dataclasses import dataclass

from host_sim.loop.record import Run
from host_sim.loop.sampling import sampling_note
from host_sim.measure.effort import AirUse, OutputMetrics, air_used, measure_output
from host_sim.measure.step_metrics import StepMetrics, measure_steps
from host_sim.scenario.load import Scenario

SMALLEST_STEP = 0.01
SHORTEST_STEP_TICKS = 10
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
    for step in metrics:
        if step.rise_time_s is not None:
            notes += _rise_note(step, run.tick_s)
    return Answer(
        steps=tuple(metrics),
        output=measure_output(run.columns["output_percent"] / 100),
        air=air_used(run.columns["air_used_kg"], scenario.plant.arrangement.air),
        notes=tuple(notes),
    )


def find_steps(
    scenario: Scenario, ticks: int
) -> tuple[list[tuple[float, float, float]], list[str]]:
    """List the set-point steps: (time s, from Pa, to Pa), and what was left out."""
    low_pa, high_pa = scenario.pressure_range_pa
    command, tick_s = scenario.law.command, scenario.law.tick_s
    steps: list[tuple[float, float, float]] = []
    short = 0
    times_s = scenario.profile.times_s
    levels = [command.setpoint(current) for current in scenario.profile.currents_ma]
    ends_s = [*times_s[1:], float("inf")]
    end_s = ticks * tick_s
    for k in range(1, len(levels)):
        if abs(levels[k] - levels[k - 1]) < SMALLEST_STEP:
            continue
        if min(ends_s[k], end_s) - times_s[k] < SHORTEST_STEP_TICKS * tick_s:
            short += 1
            continue
        from_pa, to_pa = (
            low_pa + level * (high_pa - low_pa) for level in levels[k - 1 : k + 1]
        )
        steps.append((times_s[k], from_pa, to_pa))
    notes = [f"{short} steps shorter than 10 ticks were not measured"] if short else []
    return steps, notes


def _rise_note(step: StepMetrics, tick_s: float) -> list[str]:
    rise_ticks = (step.rise_time_s or 0.0) / tick_s
    if rise_ticks >= TICKS_IN_A_RISE:
        return []
    return [
        f"tick too slow for the step at {step.step_time_s:g} s: it rises in "
        f"{rise_ticks:.1f} ticks; common practice is {TICKS_IN_A_RISE} or more"
    ]
