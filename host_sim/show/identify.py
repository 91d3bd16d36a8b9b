"""An identification for people: tables in words, and the figure."""

import re
from functools import partial
from typing import TYPE_CHECKING

from rich.console import Console

from host_sim.loop.record import FloatArray
from host_sim.scenario.units import in_unit
from host_sim.show.style import BLUE, GREY, INK, ORANGE, new_figure
from host_sim.show.tables import NOT_KNOWN, console, new_table, show_cautions
from host_sim.tune.identify import Identification
from host_sim.tune.identify_choice import Candidate
from host_sim.tune.identify_plant import PlantFit
from host_sim.tune.identify_report import ASSUMPTIONS, Lesson
from host_sim.tune.models import INTEGRATING
from host_sim.tune.record import Record

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Interval = tuple[float, float]

COLUMNS = (
    "model",
    "gain",
    "time constant s",
    "damping",
    "dead time s",
    "fit %",
    "residual",
    "criterion",
)
PLANT_LINES = {
    "fill_per_volume_1_s_pa": ("fill over volume", "1/(s.bar)", 1e5),
    "exhaust_per_volume_1_s_pa": ("exhaust over volume", "1/(s.bar)", 1e5),
    "volume_m3": ("load.volume", "L", 1e3),
    "fill_m3_s_pa": ("valve.fill.conductance", "dm3/(s.bar)", 1e8),
    "exhaust_m3_s_pa": ("valve.exhaust.conductance", "dm3/(s.bar)", 1e8),
    "valve_lag_s": ("valve.lag", "s", 1.0),
}
"""What each number is called (a scenario's key, if it has one), unit and factor."""

MOST_STEPS = 8
"""Beyond, a list of them tells nobody anything."""


class Units:
    """The units in which a record is shown."""

    def __init__(self, record: Record) -> None:
        one, zero = (
            in_unit(p, "pressure", record.pressure_unit, record.basis)
            for p in (1e5, 0.0)
        )
        self.zero, self.per_pa = zero, (one - zero) / 1e5
        first = record.pressure_unit.split()[0]
        self.difference = re.sub(r"\([ga]\)$|(?<=psi|bar)[ga]$", "", first)
        kind = record.signal.kind
        self.per_input = {"ratio": 100.0, "pressure": self.per_pa}.get(kind, 1.0)
        units = {"ratio": "%", "current": "mA", "pressure": self.difference}
        self.input = units[kind]
        self.gain = f"{self.difference}/{self.input}"

    def gain_of(self, gain_si: float) -> float:
        """Turn a gain of the program into one for people."""
        return gain_si * self.per_pa / self.per_input


def show_lesson(lesson: Lesson) -> None:
    """Print what was learnt, how sure it is, and what to do next."""
    out, units, record = console(), Units(lesson.record), lesson.record
    say = partial(out.print, markup=False)
    say(
        f"{record.file}: {record.signal.name!r} moves {record.pressure_name!r}; "
        f"{_steps_text(lesson, units)}"
    )
    say(ASSUMPTIONS[record.signal.kind])
    if lesson.linear:
        out.print()
        _show_candidates(lesson.linear.candidates, units, out)
        _show_best(lesson.linear, units, out)
    if lesson.plant:
        out.print()
        _show_plant(lesson.plant, units, out)
    out.print()
    for note in lesson.notes:
        say(f"note: {note}")
    for line in _next(lesson):
        say(f"next: {line}")
    show_cautions(out)


def _steps_text(lesson: Lesson, units: Units) -> str:
    steps = lesson.steps
    if len(steps) > MOST_STEPS:
        first_s, last_s = steps[0].start_s, steps[-1].start_s
        return f"{len(steps)} steps from {first_s:.4g} s to {last_s:.4g} s"
    return ", ".join(
        f"{step.size * units.per_input:+.3g} {units.input} at {step.start_s:.4g} s"
        for step in steps
    )


def _show_candidates(
    candidates: tuple[Candidate, ...], units: Units, out: Console
) -> None:
    table = new_table(
        "Linear models with dead time, each fitted to all steps at once", COLUMNS
    )
    for candidate in candidates:
        model = candidate.fit.model
        unit = f"{units.gain}{'/s' if model.form == INTEGRATING else ''}"
        table.add_row(
            model.form,
            f"{units.gain_of(model.gain):.4g} {unit}",
            _number(model.time_constant_s),
            _number(model.damping),
            f"{model.dead_time_s:.4g}",
            f"{candidate.fit_percent:.1f}",
            f"{candidate.residual_pa * units.per_pa:.3g} {units.difference}",
            f"{candidate.criterion:.1f}",
        )
    out.print(table)
    out.print("criterion: information criterion above the best; the first is chosen")


def _number(number: float | None) -> str:
    return NOT_KNOWN if number is None else f"{number:.4g}"


def _short(number: float) -> str:
    return f"{number:.0f}" if abs(number) >= 100.0 else f"{number:.2g}"


def _show_best(linear: Identification, units: Units, out: Console) -> None:
    best, fit = linear.best, linear.best.fit
    rate = "/s" if fit.model.form == INTEGRATING else ""
    labels = {
        "gain": ("gain", f"{units.gain}{rate}", units.gain_of(1.0)),
        "time_constant_s": ("time constant", "s", 1.0),
        "damping": ("damping", "", 1.0),
        "dead_time_s": ("dead time", "s", 1.0),
    }
    out.print(f"\n{fit.model.form} + dead time; together, in 95 of 100 records, within")
    for name, interval in fit.intervals.items():
        label, unit, factor = labels[name]
        number = getattr(fit.model, name) * factor
        _show_number(label, number, unit, interval, factor, out)
    if len(fit.model.lags_s) > 1:
        longer_s, shorter_s = fit.model.lags_s
        out.print(f"  as two lags in series: {longer_s:.4g} s and {shorter_s:.4g} s")
    trend, residual, noise = (
        _short(number_pa * units.per_pa)
        for number_pa in (60.0 * fit.trend_pa_s, best.residual_pa, linear.noise_pa)
    )
    out.print(
        f"  trend {trend} {units.difference}/min; residuals {residual} "
        f"{units.difference}, correlated by {best.correlation:.2f} from row to row; "
        f"noise of the record {noise} {units.difference}"
    )


def _show_number(
    label: str,
    number: float,
    unit: str,
    interval: Interval,
    factor: float,
    out: Console,
) -> None:
    low, high = sorted(end * factor for end in interval)
    out.print(f"  {label:26}{number:10.4g} {unit:12} {low:.4g} ... {high:.4g}")


def _show_plant(plant: PlantFit, units: Units, out: Console) -> None:
    residual = _short(plant.residual_pa * units.per_pa)
    out.print(
        f"plant of the scenario, {plant.known} known: fit {plant.fit_percent:.1f} %, "
        f"residuals {residual} {units.difference}; together, in 95 of 100 records, "
        "within"
    )
    for key, (label, unit, factor) in PLANT_LINES.items():
        if key in plant.numbers:
            number, interval = plant.numbers[key] * factor, plant.intervals[key]
            _show_number(label, number, unit, interval, factor, out)
    out.print(
        "  a pressure tells conductance over volume; each alone only beside something "
        "known"
    )


def _next(lesson: Lesson) -> list[str]:
    lines = []
    if lesson.linear:
        lines.append("keep the linear model for tuning with --model FILE.toml")
    if lesson.plant:
        lines.append("copy the numbers with a key's name into the scenario")
    return lines


def lesson_figure(lesson: Lesson) -> "Figure":
    """Draw record and fits, the input, the residuals; mark steps."""
    record, units = lesson.record, Units(lesson.record)
    figure = new_figure(7.2, (3.0, 1.1, 1.4))
    pressures, inputs, residuals = figure.axes
    pressures.plot(
        record.time_s,
        units.zero + units.per_pa * record.pressure_pa,
        color=GREY,
        marker=".",
        markersize=3.0,
        linewidth=0.6,
        label="record",
    )
    for label, fitted_pa, colour, style in _curves(lesson):
        shown = units.zero + units.per_pa * fitted_pa
        pressures.plot(
            record.time_s,
            shown,
            color=colour,
            linestyle=style,
            linewidth=1.8,
            label=label,
        )
        missed = units.per_pa * (record.pressure_pa - fitted_pa)
        residuals.plot(
            record.time_s, missed, color=colour, linestyle=style, linewidth=1.0
        )
    inputs.step(record.time_s, record.input * units.per_input, where="post", color=INK)
    _mark_steps(lesson, list(figure.axes))
    # Room for the steps' names above the curves.
    pressures.margins(y=0.1)
    pressures.set_ylabel(f"pressure, {record.pressure_unit}")
    pressures.legend(loc="lower right", bbox_to_anchor=(1, 1), ncols=3, frameon=False)
    inputs.set_ylabel(f"input, {units.input}")
    residuals.axhline(0.0, color=INK, linewidth=0.8)
    residuals.set_ylabel(f"record - fit,\n{units.difference}")
    residuals.set_xlabel("time, s")
    figure.suptitle(record.file, x=0.02, ha="left")
    return figure


def _curves(lesson: Lesson) -> list[tuple[str, FloatArray, str, object]]:
    curves: list[tuple[str, FloatArray, str, object]] = []
    if lesson.linear:
        fit = lesson.linear.best.fit
        label = f"{fit.model.form} + dead time"
        curves.append((label, fit.fitted_pa, BLUE, "-"))
    if lesson.plant:
        curves.append(
            ("plant of the scenario", lesson.plant.fitted_pa, ORANGE, (0, (4, 1.5)))
        )
    return curves


def _mark_steps(lesson: Lesson, panels: "list[Axes]") -> None:
    for panel in panels:
        for step in lesson.steps:
            panel.axvline(step.start_s, color=INK, linewidth=0.8, linestyle=(0, (1, 2)))
    named = lesson.steps if len(lesson.steps) <= MOST_STEPS else ()
    for number, step in enumerate(named, start=1):
        panels[0].annotate(
            f"step {number}",
            (step.start_s, 1.0),
            xycoords=("data", "axes fraction"),
            xytext=(3, -10),
            textcoords="offset points",
            fontsize="small",
        )
