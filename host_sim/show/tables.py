"""The tables of a run and of a comparison, for a terminal."""

import sys
from collections.abc import Callable

from rich.console import Console
from rich.table import Table

from host_sim.law.read_back import kept_gains
from host_sim.measure.comparison import Trial
from host_sim.measure.step_metrics import StepMetrics
from host_sim.measure.study import Study, study_notes
from host_sim.scenario.load import Scenario
from host_sim.scenario.units import in_unit
from host_sim.show.cautions import CAUTIONS

WIDTH = 110
NOT_KNOWN = "-"


def console() -> Console:
    """Make the console for tables; wide enough for them when piped."""
    if sys.stdout.isatty():
        return Console(highlight=False, markup=False)
    return Console(width=WIDTH, highlight=False, markup=False)


def pressure_text(scenario: Scenario) -> Callable[[float], str]:
    """Make a writer of pressure differences in the scenario's own unit."""
    one, zero = (
        in_unit(p, "pressure", scenario.pressure_unit, scenario.basis)
        for p in (1e5, 0.0)
    )
    unit = scenario.pressure_unit.split()[0]
    return lambda difference_pa: f"{difference_pa * (one - zero) / 1e5:.3g} {unit}"


def seconds(number: float | None) -> str:
    """Write a time, or a dash for one that the record cannot answer."""
    return NOT_KNOWN if number is None else f"{number:.3f}"


def percent(number: float | None) -> str:
    """Write a percentage, or a dash."""
    return NOT_KNOWN if number is None else f"{number:.1f}"


def new_table(title: str, columns: tuple[str, ...]) -> Table:
    """Make a table: first column left, the others right."""
    table = Table(title=title, title_justify="left", box=None, pad_edge=False)
    for k, column in enumerate(columns):
        table.add_column(column, justify="left" if k == 0 else "right")
    return table


def _step_cells(scenario: Scenario, step: StepMetrics) -> tuple[str, ...]:
    error = step.steady_error_pa
    return (
        seconds(step.t50_s),
        seconds(step.rise_time_s),
        percent(step.overshoot_percent),
        seconds(step.peak_time_s),
        seconds(step.settling_5_s),
        seconds(step.settling_2_s),
        seconds(step.settling_1_s),
        seconds(step.settling_band_s),
        NOT_KNOWN if error is None else pressure_text(scenario)(error),
    )


STEP_COLUMNS = (
    "t50 s",
    "rise s",
    "over %",
    "peak s",
    "5 % s",
    "2 % s",
    "1 % s",
    "band s",
    "steady error",
)


def show_study(study: Study) -> None:
    """Print a run's table, effort, gains, agreement, notes and cautions."""
    scenario, out = study.scenario, console()
    table = new_table(scenario.title, ("step", *STEP_COLUMNS))
    for step in study.answer.steps:
        ends = (
            in_unit(p, "pressure", scenario.pressure_unit, scenario.basis)
            for p in (step.setpoint_from_pa, step.setpoint_to_pa)
        )
        name = "{:g} s: {:.2f} -> {:.2f}".format(step.step_time_s, *ends)
        table.add_row(name, *_step_cells(scenario, step))
    out.print(table)
    out.print(
        f"pressures in {scenario.pressure_unit}; 5, 2, 1 %: settling, of the step; "
        f"band: settling to +-{100 * scenario.settle_band:g} % of range"
    )
    _show_effort(study, out)
    out.print()
    _show_gains(study, out)
    _show_truth(study, out)
    _show_notes(study, out)
    show_cautions(out)


def _show_effort(study: Study, out: Console) -> None:
    output, air = study.answer.output, study.answer.air
    out.print(
        f"output travel {output.travel_strokes:.1f} strokes, {output.reversals} "
        f"reversals; air used {air.volume_l_anr:.1f} L ANR ({air.mass_kg * 1e3:.1f} g)"
    )


def _show_gains(study: Study, out: Console) -> None:
    columns = ("gain", "unit", "wanted", "kept", "mantissa", "shift", "error %")
    table = new_table("Gains as the board keeps them", columns)
    for gain in kept_gains(study.scenario.law, study.block):
        table.add_row(
            gain.name,
            gain.unit,
            f"{gain.wanted:.6g}",
            f"{gain.kept:.6g}",
            str(gain.mantissa),
            str(gain.shift),
            f"{100 * gain.relative_error:+.4f}",
        )
    out.print(table)


def _show_truth(study: Study, out: Console) -> None:
    agreement = study.agreement
    if agreement is not None:
        out.print(
            f"integer against float: load pressure at most "
            f"{agreement.largest_pressure_percent:.4f} % of range apart, "
            f"signal to noise {agreement.signal_to_noise_db:.0f} dB"
        )
    out.print(
        f"plant: {study.substeps} Runge-Kutta substeps a tick; fastest part: "
        f"{study.fastest_part}, {study.fastest_time_constant_s * 1e3:.2g} ms; "
        f"integration error {study.integration_error_percent:.2g} % of range, "
        "estimated at half the substep"
    )


def _show_notes(study: Study, out: Console) -> None:
    for step in study.answer.steps:
        for note in step.notes:
            out.print(f"note: step at {step.step_time_s:g} s: {note}")
    for note in study_notes(study):
        out.print(f"note: {note}")


def show_cautions(out: Console) -> None:
    """Print the cautions."""
    out.print()
    for caution in CAUTIONS:
        out.print(f"caution: {caution}")


def show_comparison(
    scenario: Scenario, trials: list[Trial], lessons: list[str]
) -> None:
    """Print one row for each gain set, then what each term did."""
    out = console()
    columns = ("gains", *STEP_COLUMNS, "travel", "air L ANR")
    table = new_table(f"{scenario.title}: largest step", columns)
    for trial in trials:
        table.add_row(
            trial.name,
            *_step_cells(scenario, trial.step),
            f"{trial.answer.output.travel_strokes:.1f}",
            f"{trial.answer.air.volume_l_anr:.1f}",
        )
    out.print(table)
    for lesson in lessons:
        out.print(lesson)
