"""The fault campaign as a table and a figure, and the fault table for documents."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from firmware_model.device.faults import FAULTS, LABEL, SEEN, STOPS, TICKS_WORD, WAITS
from host_sim.device.fault_campaign import FaultRun
from host_sim.scenario.load import Scenario
from host_sim.show.cautions import CAUTIONS
from host_sim.show.style import BLUE, GREY, INK, ORANGE, PLUM, TEAL
from host_sim.show.tables import NOT_KNOWN, console, new_table

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

OUTPUTS = ("shown, acts on", "safe output")
WAYS_BACK = ("by itself, after CLEAR_TICKS", "a person confirms")


def faults_markdown() -> str:
    """Write the table of faults for the documents.

    >>> print(faults_markdown().splitlines()[0])
    | blinks | display | what is seen | found after | output | ends |
    """
    lines = [
        "| blinks | display | what is seen | found after | output | ends |",
        "| ---: | --- | --- | --- | --- | --- |",
    ]
    for row, fault in enumerate(FAULTS):
        after = fault[TICKS_WORD] or "2 ticks a parameter"
        ends = WAYS_BACK[int(fault[WAITS])] if fault[STOPS] else "with its cause"
        lines.append(
            f"| {row + 1} | {fault[LABEL]} | {fault[SEEN]} | {after} "
            f"| {OUTPUTS[int(fault[STOPS])]} | {ends} |"
        )
    return "\n".join(lines) + "\n"


def show_faults(scenario: Scenario, runs: Sequence[FaultRun]) -> None:
    """Print one row a fault and moment."""
    tick_s = scenario.law.tick_s
    table = new_table(
        f"{scenario.title}: each fault in the closed loop",
        ("fault", "moment", "stated, s", "found, s", "pressure moved, %", "outcome"),
    )
    for run in runs:
        found = run.found_ticks
        table.add_row(
            run.label,
            run.moment,
            f"{run.stated_ticks * tick_s:.2f}",
            NOT_KNOWN if found is None else f"{found * tick_s:.2f}",
            f"{100 * run.excursion:.0f}",
            outcome(run),
        )
    out = console()
    out.print(table)
    kept = sum(run.as_stated for run in runs)
    out.print(f"\n{kept} of {len(runs)} as the table of faults states.")
    for caution in CAUTIONS:
        out.print(caution)


def outcome(run: FaultRun) -> str:
    """Say in words how a run ended."""
    if not run.as_stated:
        return "NOT AS STATED"
    if run.unwatched:
        return f"not watched: {run.unwatched}"
    if run.found_ticks is None:
        return f"found as {run.before}"
    return "safe output, ended" if run.stops else "shown, ended"


def faults_figure(scenario: Scenario, runs: Sequence[FaultRun]) -> "Figure":
    """Draw when each fault was found, and the run that moved the pressure most."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(9.0, 8.4), dpi=140, layout="constrained")
    grid, pressure, output = figure.subplots(3, 1, height_ratios=(4.2, 2.2, 1.2))
    _draw_grid(grid, runs)
    watched = [run for run in runs if run.found_ticks is not None]
    worst = max(watched, key=lambda run: run.excursion)
    _draw_run(pressure, output, worst)
    output.sharex(pressure)
    figure.suptitle(scenario.title)
    return figure


def grid_figure(runs: Sequence[FaultRun]) -> "Figure":
    """Draw when each fault was found, alone."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(7.6, 4.2), dpi=140, layout="constrained")
    _draw_grid(figure.subplots(), runs)
    return figure


def _draw_grid(panel: "Axes", runs: Sequence[FaultRun]) -> None:
    moments = list(dict.fromkeys(run.moment for run in runs))
    labels = list(dict.fromkeys(run.label for run in runs))
    for run in runs:
        x, y = moments.index(run.moment), labels.index(run.label)
        tick_s = run.traces.tick_s
        if run.unwatched:
            words, colour = "not watched", GREY
        elif run.found_ticks is None:
            words, colour = f"as {run.before.split(', ')[-1]}", PLUM
        else:
            words, colour = f"{run.found_ticks * tick_s:.3g} s", TEAL
        if not run.as_stated:
            words, colour = "NOT AS STATED", ORANGE
        panel.barh(y, 0.94, left=x, height=0.8, color=colour, alpha=0.28)
        panel.text(x + 0.47, y, words, ha="center", va="center", color=INK, fontsize=9)
    stated = {run.label: run.stated_ticks * run.traces.tick_s for run in runs}
    panel.set_yticks(
        range(len(labels)), [f"{label}  ({stated[label]:.3g} s)" for label in labels]
    )
    panel.set_xticks([k + 0.47 for k in range(len(moments))], moments)
    panel.set_xlim(0, len(moments))
    panel.invert_yaxis()
    panel.tick_params(length=0)
    panel.spines[:].set_visible(False)
    panel.set_title("found after; in brackets: stated", fontsize=10, loc="left")


def _draw_run(pressure: "Axes", output: "Axes", run: FaultRun) -> None:
    traces = run.traces
    start = max(0, run.first - 300)
    part = slice(start, None)
    tick_s = traces.tick_s
    time_s = [(start + k) * tick_s for k in range(len(traces.pressure) - start)]
    pressure.plot(
        time_s,
        100 * traces.setpoint[part],
        color=GREY,
        ls=(0, (4, 1.5)),
        label="set point",
    )
    pressure.plot(
        time_s,
        100 * traces.seen[part],
        color=ORANGE,
        ls=(0, (1.5, 1.2)),
        label="as read",
    )
    pressure.plot(time_s, 100 * traces.pressure[part], color=BLUE, label="pressure")
    output.plot(time_s, 100 * traces.output[part], color=INK)
    for panel in (pressure, output):
        held = traces.held[part] > 0
        panel.fill_between(
            time_s,
            0,
            1,
            where=held,
            transform=panel.get_xaxis_transform(),
            color=PLUM,
            alpha=0.12,
            label="fault held",
        )
        for tick, words in ((run.first, "it begins"), (run.last, "it is gone")):
            panel.axvline(tick * tick_s, color=INK, lw=0.9, ls=(0, (2, 2)))
            if panel is pressure:
                panel.annotate(
                    words,
                    (tick * tick_s, 0),
                    xycoords=("data", "axes fraction"),
                    xytext=(3, 3),
                    textcoords="offset points",
                    va="bottom",
                    fontsize=9,
                )
        panel.grid(visible=True, color="#e3e5e8", linewidth=0.8)
        panel.spines[["top", "right"]].set_visible(False)
    pressure.set_ylabel("pressure, %")
    pressure.set_title(f"{run.label}, {run.moment}", fontsize=10, loc="left")
    pressure.legend(loc="lower right", bbox_to_anchor=(1, 0.98), ncols=4, frameon=False)
    output.set_ylabel("output, %")
    output.set_xlabel("time, s")
