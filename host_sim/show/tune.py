"""The table and the figure of a tuning."""

from dataclasses import replace
from typing import TYPE_CHECKING

from host_sim.loop.engine import run
from host_sim.scenario.load import Scenario
from host_sim.show.figures import setpoint_pa, shown_pressure
from host_sim.show.style import BLUE, GREY, INK, ORANGE, TEAL, new_figure
from host_sim.show.tables import NOT_KNOWN, console, new_table, show_cautions
from host_sim.tune.bench import Row
from host_sim.tune.reasons import notes, reasons
from host_sim.tune.tune import Tuned
from host_sim.tune.verify import Verified

if TYPE_CHECKING:
    from matplotlib.figure import Figure

COLUMNS = ("tuning", "kc", "ti s", "td s", "settling s", "over %", "travel", "Ms", "")


def show_tuned(tuned: Tuned, verified: list[Verified]) -> None:
    """Print rules, present and chosen tuning, the reasons, and what was checked."""
    out = console()
    machines = len(tuned.bench.machines)
    title = f"{tuned.scenario.title}: the worst of {machines} machines, all steps"
    table = new_table(title, COLUMNS)
    for row in (*tuned.rule_rows, tuned.present, tuned.best):
        table.add_row(*_cells(row, tuned.scenario))
    out.print(table)
    limits = tuned.scenario.limits
    out.print(
        f"limits: overshoot {100 * limits.overshoot:g} %, Ms {limits.ms:g}, travel "
        f"{limits.travel:g} strokes a step; settling adds up all steps, one that does "
        "not settle as its whole window and more"
    )
    for note in notes(tuned.bench):
        out.print(f"note: {note}")
    out.print()
    for sentence in reasons(tuned):
        out.print(sentence)
    out.print()
    checks = new_table("The slowest machine again", ("run", "settling s", "over %"))
    for each in verified:
        settling = NOT_KNOWN if each.settling_s is None else f"{each.settling_s:.3f}"
        checks.add_row(each.name, settling, f"{100 * each.overshoot:.2f}")
    out.print(checks)
    show_cautions(out)


def _cells(row: Row, scenario: Scenario) -> tuple[str, ...]:
    gains = row.law.pid.gains
    mark = f"{row.unsettled} not settled" if row.unsettled else ""
    return (
        row.name,
        f"{gains.kp:.3g}",
        f"{gains.ti_s:.3g}",
        f"{gains.td_s:.3g}",
        f"{row.settling_s:.2f}",
        f"{100 * row.overshoot:.1f}",
        f"{row.travel:.2f}",
        f"{row.ms:.2f}",
        mark or ("" if row.holds(scenario.limits) else "beyond a limit"),
    )


def tune_figure(tuned: Tuned) -> "Figure":
    """Draw the chosen tuning on its slowest and on the scenario's own machine.

    Beside them, on the slowest machine, the present tuning and the quickest
    published rule.
    """
    figure = new_figure(6.8, (2.6, 1.2))
    pressures, outputs = figure.axes
    slowest = tuned.best.slowest.scenario
    curves: list[tuple[str, Scenario, Row, str, object, float]] = [
        ("present, slowest machine", slowest, tuned.present, GREY, (0, (1, 1.2)), 1.6),
        ("chosen, own machine", tuned.scenario, tuned.best, TEAL, (0, (4, 1.5)), 1.6),
        ("chosen, slowest machine", slowest, tuned.best, BLUE, "-", 2.0),
    ]
    rule = tuned.best_rule
    if rule is not None:
        name = f"{rule.name}, slowest machine"
        curves.insert(1, (name, slowest, rule, ORANGE, (0, (6, 1.5, 1, 1.5)), 1.6))
    for label, scenario, row, colour, style, width in curves:
        done = run(replace(scenario, law=row.law))
        if not pressures.lines:
            pressures.plot(
                done.time_s,
                shown_pressure(scenario, setpoint_pa(scenario, done)),
                color=INK,
                linewidth=1.0,
                label="set point",
            )
        for panel, column in (
            (pressures, shown_pressure(scenario, done.columns["load_pa"])),
            (outputs, done.columns["output_percent"]),
        ):
            panel.plot(
                done.time_s,
                column,
                color=colour,
                linestyle=style,
                linewidth=width,
                label=label,
            )
    pressures.set_ylabel(f"load pressure, {tuned.scenario.pressure_unit}")
    pressures.legend(loc="lower right", bbox_to_anchor=(1, 1), ncols=3, frameon=False)
    outputs.set_ylabel("output, %")
    outputs.set_xlabel("time, s")
    figure.suptitle(f"{tuned.scenario.title}: tuned")
    return figure
