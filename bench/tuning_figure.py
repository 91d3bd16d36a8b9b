"""The races as a figure: settling of rule and tuning, with their overshoot."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from bench.tuning_race import FASTER, TERMS, Race, Worth
from host_sim.show.style import BLUE, GREY, INK, ORANGE

if TYPE_CHECKING:
    from matplotlib.axes import Axes

TICKS_S = (2, 3, 5, 10, 20)
WIDEST_S = (1.1, 26.0)
AWAY_POINTS = 7


def race_figure(races: Sequence[Race]) -> Figure:
    """Draw one panel for each kind of race, one line for each machine."""
    figure = Figure(figsize=(9.0, 5.6), dpi=140, layout="constrained")
    panels = figure.subplots(1, len(TERMS), sharey=True, sharex=True)
    names = {
        race.machine: f"{race.machine} {race.arrangement.lower()}" for race in races
    }
    for panel, (key, terms) in zip(panels, TERMS.items(), strict=True):
        for race in races:
            if race.terms == key:
                _draw_race(panel, race)
        panel.set_title(f"against {terms.words}", loc="left")
        panel.set_xscale("log")
        panel.set_xlim(*WIDEST_S)
        panel.set_xticks(TICKS_S, [f"{time_s}" for time_s in TICKS_S])
        panel.minorticks_off()
        panel.set_xlabel("settling of all steps, worst of the family, s")
        panel.set_yticks(list(names), list(names.values()))
        panel.tick_params(axis="y", length=0)
        panel.set_ylim(len(names) - 0.4, -0.6)
        panel.grid(visible=True, axis="x", color="#e3e5e8", linewidth=0.8)
        panel.spines[["top", "right", "left"]].set_visible(False)
    figure.legend(handles=_legend(), loc="outside lower center", ncols=4, frameon=False)
    figure.suptitle("Tuning against the published rules; numbers: overshoot, %")
    return figure


def _draw_race(panel: "Axes", race: Race) -> None:
    place, rule, tuned = race.machine, race.rule, race.tuned
    edge = (place - 0.3, place + 0.3)
    panel.plot((race.floor_s, race.floor_s), edge, color=GREY, linewidth=2.4)
    if rule is not None:
        reach_s = (1.0 - FASTER) * rule.settling_s
        panel.plot(
            (reach_s, reach_s), edge, color=ORANGE, linewidth=1.6, linestyle="--"
        )
        _draw_worth(panel, place, rule, ORANGE, "D", _is_right(rule, tuned))
    if tuned is not None:
        _draw_worth(panel, place, tuned, BLUE, "o", _is_right(tuned, rule))
    if rule is not None and tuned is not None:
        ends_s = (rule.settling_s, tuned.settling_s)
        panel.plot(ends_s, (place, place), color=INK, linewidth=1.0, zorder=2)
    words = race.verdict if tuned is not None else "refused"
    panel.annotate(
        words,
        (1.0, place),
        xycoords=("axes fraction", "data"),
        va="center",
        ha="right",
        color=INK,
        weight="bold" if race.has_won else "normal",
    )


def _is_right(one: Worth, other: Worth | None) -> bool:
    return other is None or one.settling_s > other.settling_s


def _draw_worth(
    panel: "Axes", place: int, worth: Worth, colour: str, marker: str, is_right: bool
) -> None:
    panel.plot(worth.settling_s, place, marker, color=colour, markersize=7, zorder=3)
    panel.annotate(
        f"{100 * worth.overshoot:.0f}",
        (worth.settling_s, place),
        xytext=(AWAY_POINTS if is_right else -AWAY_POINTS, 0),
        textcoords="offset points",
        va="center",
        ha="left" if is_right else "right",
        color=colour,
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8, "alpha": 0.8},
        zorder=4,
    )


def _legend() -> list[Line2D]:
    return [
        Line2D([], [], color=ORANGE, marker="D", linestyle="", label="quickest rule"),
        Line2D([], [], color=BLUE, marker="o", linestyle="", label="tune"),
        Line2D(
            [],
            [],
            color=ORANGE,
            linestyle="--",
            linewidth=1.6,
            label=f"{100 * FASTER:g} % faster",
        ),
        Line2D([], [], color=GREY, linewidth=2.4, label="full drive: no law is faster"),
    ]
