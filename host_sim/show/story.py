"""The whole job on one page, in words and as a figure."""

from pathlib import Path
from typing import TYPE_CHECKING

from host_sim.measure.study import Study
from host_sim.plant.settings import ChainPlant, Restriction
from host_sim.scenario.load import Scenario
from host_sim.show.cautions import CAUTIONS
from host_sim.show.figures import setpoint_pa, shown_pressure
from host_sim.show.style import BLUE, GREY, INK, ORANGE, TEAL
from host_sim.show.tables import console, new_table
from host_sim.size.savings_words import verdict
from host_sim.story import Story

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

UNIT_C = 1e8
"""m3/(s Pa) to dm3/(s bar)."""


def show_story(story: Story, figures: list[Path]) -> None:
    """Print the end of the story: what was chosen, won and written."""
    out = console()
    chosen, tuned = story.chosen, story.tuned
    out.print()
    table = new_table(
        "The whole job", ("", "forward C", "exhaust C", "settling s", "over %")
    )
    needed = (story.selection.fill, story.selection.exhaust)
    table.add_row("needed for the wanted times", *(_c(path) for path in needed), "", "")
    for name, study in (
        ("as it is", story.before),
        (f"with {chosen.unit.name}, tuned", story.after),
    ):
        fill, exhaust = _paths(study.scenario)
        cells = (_c(fill), _c(exhaust), _settling(study), _overshoot(study))
        table.add_row(name, *cells)
    out.print(table)
    out.print("C in dm3/(s.bar); settling: all steps to the band, on this machine")
    rule = tuned.best_rule
    if rule is not None:
        out.print(
            f"tuned on {len(tuned.bench.machines)} machines: slowest "
            f"{tuned.best.settling_s:.2f} s with {100 * tuned.best.overshoot:.1f} % "
            f"overshoot; the quickest published rule there, {rule.name}: "
            f"{rule.settling_s:.2f} s with {100 * rule.overshoot:.0f} %"
        )
    out.print(verdict(story.savings))
    out.print("assumed, not promised: every number of the scenario is invented")
    out.print()
    for path in (*story.files, *figures):
        out.print(f"written: {path}")


def _c(path: Restriction) -> str:
    return f"{path.conductance_m3_s_pa * UNIT_C:.2f}"


def _settling(study: Study) -> str:
    times_s = [step.settling_band_s for step in study.answer.steps]
    if None in times_s:
        return "not settled"
    return f"{sum(time_s for time_s in times_s if time_s is not None):.2f}"


def _overshoot(study: Study) -> str:
    return f"{max(step.overshoot_percent or 0.0 for step in study.answer.steps):.1f}"


def story_figure(story: Story) -> "Figure":
    """Draw the page: pressures before and after, capacity, tuning, money."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(9.0, 9.4), dpi=140, layout="constrained")
    grid = figure.add_gridspec(3, 2, height_ratios=(2.2, 1.3, 1.3))
    panels = [
        figure.add_subplot(grid[0, :]),
        figure.add_subplot(grid[1, 0]),
        figure.add_subplot(grid[1, 1]),
        figure.add_subplot(grid[2, :]),
    ]
    for panel in panels:
        panel.grid(visible=True, color="#e3e5e8", linewidth=0.8)
        panel.set_axisbelow(True)
        panel.spines[["top", "right"]].set_visible(False)
    _draw_pressures(panels[0], story)
    _draw_capacity(panels[1], story)
    _draw_tuning(panels[2], story)
    _draw_money(panels[3], story)
    figure.suptitle(f"{story.before.scenario.title}: size, choose, tune, value")
    figure.supxlabel("\n".join(CAUTIONS), x=0.01, ha="left", fontsize=7.5)
    return figure


def _draw_pressures(panel: "Axes", story: Story) -> None:
    scenario, run = story.before.scenario, story.before.run
    panel.step(
        run.time_s,
        shown_pressure(scenario, setpoint_pa(scenario, run)),
        where="post",
        color=INK,
        linewidth=1.0,
        label="set point",
    )
    name = f"with {story.chosen.unit.name}, tuned"
    for label, study, colour, style, width in (
        ("as it is", story.before, ORANGE, (0, (4, 1.5)), 1.6),
        (name, story.after, BLUE, "-", 2.2),
    ):
        panel.plot(
            study.run.time_s,
            shown_pressure(scenario, study.run.columns["load_pa"]),
            color=colour,
            linestyle=style,
            linewidth=width,
            label=label,
        )
    panel.set_xlabel("time, s")
    panel.set_ylabel(f"load, {scenario.pressure_unit}")
    panel.margins(x=0.01)
    panel.legend(loc="lower right", bbox_to_anchor=(1, 1), ncols=3, frameon=False)


def _draw_capacity(panel: "Axes", story: Story) -> None:
    needed = (story.selection.fill, story.selection.exhaust)
    present, new = (_paths(s.scenario) for s in (story.before, story.after))
    for place, (label, paths, colour, hatch) in enumerate(
        (
            ("needed", needed, INK, ""),
            ("as it is", present, ORANGE, "//"),
            (story.chosen.unit.name, new, BLUE, ""),
        )
    ):
        panel.bar(
            [side + 0.27 * (place - 1) for side in (0, 1)],
            [UNIT_C * path.conductance_m3_s_pa for path in paths],
            0.25,
            color=colour,
            hatch=hatch,
            edgecolor="white",
            label=label,
        )
    panel.set_xticks([0, 1], ["forward", "exhaust"])
    panel.set_ylabel("C, dm3/(s.bar)")
    panel.legend(frameon=False, fontsize=8)


def _paths(scenario: Scenario) -> tuple[Restriction, Restriction]:
    plant = scenario.plant.arrangement
    valve = plant.booster if isinstance(plant, ChainPlant) else plant.valve
    return valve.fill, valve.exhaust


def _draw_tuning(panel: "Axes", story: Story) -> None:
    tuned = story.tuned
    rows = [row for row in (tuned.present, tuned.best_rule, tuned.best) if row]
    colours = {tuned.present.name: ORANGE, tuned.best.name: BLUE}
    for place, row in enumerate(rows):
        panel.barh(place, row.settling_s, 0.6, color=colours.get(row.name, GREY))
        panel.annotate(
            f"{row.settling_s:.1f} s, {100 * row.overshoot:.0f} % over",
            (0.0, place),
            (6, 0),
            textcoords="offset points",
            va="center",
            color="white" if row is tuned.best else INK,
        )
    panel.set_yticks(range(len(rows)), [row.name for row in rows])
    panel.invert_yaxis()
    panel.set_xlabel(f"settling, worst of {len(tuned.bench.machines)} machines, s")


def _draw_money(panel: "Axes", story: Story) -> None:
    savings = story.savings
    bars = {**savings.money_per_year, "total": savings.total_money_per_year}
    for row, spread in enumerate(bars.values()):
        panel.barh(row, spread.expected, 0.55, color=TEAL, alpha=0.7)
        ends = [spread.lowest, spread.highest]
        panel.plot(ends, [row, row], color=INK, linewidth=1.0, marker="|")
    panel.set_yticks(range(len(bars)), list(bars))
    panel.invert_yaxis()
    panel.axvline(0.0, color=INK, linewidth=0.8)
    panel.set_xlabel(
        f"saved in a year, {savings.assumptions.currency}: as expected, and lowest to "
        "highest; assumed, not promised",
        parse_math=False,
    )
