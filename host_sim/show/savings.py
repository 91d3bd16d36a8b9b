"""What a better response is worth: tables, and a summary on one page."""

import textwrap
from collections.abc import Iterable
from typing import TYPE_CHECKING

from rich.console import Console
from rich.table import Table

from host_sim.show.cautions import CAUTIONS
from host_sim.show.style import BLUE, GREY, INK, ORANGE
from host_sim.show.tables import console, seconds, show_cautions
from host_sim.size.savings import Savings
from host_sim.size.savings_range import Spread
from host_sim.size.savings_response import CycleResponse, ends_text
from host_sim.size.savings_words import (
    PROMISE,
    energy_kwh,
    notes,
    payback_text,
    premises,
    rounded,
    step_time_text,
    verdict,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

SPREAD_COLUMNS = ("as expected", "10 %", "50 %", "90 %", "lowest", "highest")
# A part of a bar narrower than this share of the panel cannot hold its text.
NARROWEST_LABELLED = 0.07
SMALL_COLUMNS = 142
TITLE_COLUMNS = 120


def show_savings(savings: Savings) -> None:
    """Print the answer, what it rests on, notes and cautions."""
    out = console()
    out.print(savings.assumptions.title)
    for line in _headline(savings):
        out.print(line)
    out.print(PROMISE)
    out.print()
    _show_steps(savings, out)
    _show_money(savings, out)
    _show_assumptions(savings, out)
    for premise in premises(savings):
        out.print(f"assumed: {premise}")
    for note in notes(savings):
        out.print(f"note: {note}")
    show_cautions(out)


def _headline(savings: Savings) -> list[str]:
    return [text for text in (verdict(savings), payback_text(savings)) if text]


def _table(*columns: str) -> Table:
    table = Table(box=None, pad_edge=False)
    for k, column in enumerate(columns):
        table.add_column(column, justify="left" if k == 0 else "right")
    return table


def _show_steps(savings: Savings, out: Console) -> None:
    out.print(f"Time of each step, {step_time_text(savings.assumptions)}:")
    table = _table("step", "before s", "after s", "gained s")
    for number, gain in enumerate(savings.steps, start=1):
        ends = ends_text(savings.before, gain.setpoint_from_pa, gain.setpoint_to_pa)
        table.add_row(
            f"{number}: {ends}",
            seconds(gain.before_s),
            seconds(gain.after_s),
            seconds(gain.gained_s),
        )
    before_s, after_s = savings.time_per_cycle_s
    cells = (seconds(before_s), seconds(after_s), seconds(before_s - after_s))
    table.add_row("counted in a cycle", *cells)
    out.print(table)
    for side, response in (("before", savings.before), ("after", savings.after)):
        out.print(f"{side}: {_response_text(response, savings)}")
    out.print()


def _response_text(response: CycleResponse, savings: Savings) -> str:
    text = (
        f"{response.name} ({'simulated' if response.simulated else 'recorded'}), "
        f"{response.outside_s:.3f} s outside +-{savings.assumptions.tolerance}"
    )
    if response.air is not None:
        text += f", air {response.air.volume_l_anr:.1f} L ANR"
        text += f" ({response.air.mass_kg * 1e3:.1f} g)"
    energy = energy_kwh(response, savings.assumptions)
    return text if energy is None else f"{text}, {1e3 * energy:.3g} Wh to compress it"


def _show_money(savings: Savings, out: Console) -> None:
    word = savings.assumptions.currency
    table = _table("saved (negative: lost)", *SPREAD_COLUMNS)
    rows = {
        "time in a cycle, s": savings.time_gained_per_cycle_s,
        "time in a year, h": savings.time_gained_per_year_h,
        **{f"{c}, {word} a year": m for c, m in savings.money_per_year.items()},
        f"total, {word} a year": savings.total_money_per_year,
    }
    for name, spread in rows.items():
        table.add_row(name, *_cells(spread))
    if savings.payback_years is not None:
        table.add_row("payback, years", *_cells(savings.payback_years))
    out.print(table)
    out.print()


def _cells(spread: Spread) -> tuple[str, ...]:
    numbers = (
        spread.expected,
        spread.p10,
        spread.p50,
        spread.p90,
        spread.lowest,
        spread.highest,
    )
    return tuple(map(rounded, numbers))


def _show_assumptions(savings: Savings, out: Console) -> None:
    assumptions = savings.assumptions
    out.print(f"Assumed in {assumptions.file}:")
    table = _table("", "low", "expected", "high")
    for name, stated in assumptions.stated.items():
        sure = ("", *stated.written, "")
        table.add_row(name, *(stated.written if len(stated.written) == 3 else sure))
    table.add_row("response.tolerance", "", assumptions.tolerance, "")
    uncertainty = f"{100 * assumptions.uncertainty:g} %"
    table.add_row("response.uncertainty", f"-{uncertainty}", "0", f"+{uncertainty}")
    out.print(table)


def savings_figure(savings: Savings) -> "Figure":
    """Draw the page: time of a cycle, money, what was assumed."""
    from matplotlib.figure import Figure

    rows = len(savings.money_per_year) + 1
    figure = Figure(figsize=(9.0, 5.2 + 0.45 * rows), dpi=140, layout="constrained")
    times, money = figure.subplots(2, 1, height_ratios=(2.0, 1.0 + 0.8 * rows))
    for panel in (times, money):
        panel.grid(visible=True, axis="x", color="#e3e5e8", linewidth=0.8)
        panel.set_axisbelow(True)
        panel.spines[["top", "right", "left"]].set_visible(False)
        panel.tick_params(axis="y", length=0)
    _draw_times(times, savings)
    _draw_money(money, savings)
    texts = (savings.assumptions.title, *_headline(savings))
    # A currency may be a dollar sign, which would begin a formula.
    title = _wrapped(texts, TITLE_COLUMNS)
    figure.suptitle(title, fontsize=10, parse_math=False)
    small = _small_print(savings)
    figure.supxlabel(small, x=0.01, ha="left", fontsize=7.5, parse_math=False)
    return figure


def _draw_times(panel: "Axes", savings: Savings) -> None:
    panel.set_yticks([0, 1], ["before", "after"])
    panel.invert_yaxis()
    longest_s = max(savings.time_per_cycle_s)
    for row, colour, ink in ((0, GREY, INK), (1, BLUE, "white")):
        left_s = 0.0
        for number, gain in enumerate(savings.steps, start=1):
            if gain.gained_s is None:
                continue
            width_s = (gain.before_s, gain.after_s)[row] or 0.0
            panel.barh(row, width_s, 0.6, left=left_s, color=colour, edgecolor="white")
            if width_s > NARROWEST_LABELLED * longest_s:
                text = f"step {number}\n{width_s:.2f} s"
                middle_s = left_s + width_s / 2
                panel.text(
                    middle_s,
                    row,
                    text,
                    color=ink,
                    fontsize=8,
                    ha="center",
                    va="center",
                )
            left_s += width_s
        panel.annotate(
            f"{left_s:.2f} s",
            (left_s, row),
            (6, 0),
            textcoords="offset points",
            va="center",
        )
    panel.margins(x=0.08)
    panel.set_xlim(left=0.0)
    panel.set_xlabel(f"time in a cycle, s, {step_time_text(savings.assumptions)}")


def _draw_money(panel: "Axes", savings: Savings) -> None:
    bars = {**savings.money_per_year, "total": savings.total_money_per_year}
    panel.set_yticks(range(len(bars)), list(bars))
    panel.invert_yaxis()
    for row, spread in enumerate(bars.values()):
        colour = BLUE if spread.expected >= 0.0 else ORANGE
        panel.barh(row, spread.expected, 0.55, color=colour, alpha=0.6)
        panel.plot(
            [spread.lowest, spread.highest],
            [row, row],
            color=INK,
            linewidth=1.0,
            marker="|",
            markersize=9,
            label="lowest to highest" if row == 0 else None,
        )
        panel.plot(
            [spread.p10, spread.p90],
            [row, row],
            color=INK,
            linewidth=4.0,
            solid_capstyle="butt",
            label="10 % to 90 % of the draws" if row == 0 else None,
        )
        panel.annotate(
            rounded(spread.expected),
            (max(spread.highest, 0.0), row),
            (8, 0),
            textcoords="offset points",
            va="center",
        )
    panel.axvline(0.0, color=INK, linewidth=0.8)
    # Without room on both sides the labels of losses would leave the panel.
    panel.use_sticky_edges = False
    panel.margins(x=0.1)
    word = savings.assumptions.currency
    label = f"saved in a year, {word} (bars: as expected; negative: lost)"
    panel.set_xlabel(label, parse_math=False)
    panel.legend(loc="lower right", bbox_to_anchor=(1, 1), ncols=2, frameon=False)


def _small_print(savings: Savings) -> str:
    stated = savings.assumptions.stated.items()
    numbers = "; ".join(f"{name} {' / '.join(s.written)}" for name, s in stated)
    texts = (PROMISE, numbers, " ".join(premises(savings)), " ".join(CAUTIONS))
    return _wrapped(texts, SMALL_COLUMNS)


def _wrapped(texts: Iterable[str], columns: int) -> str:
    return "\n".join("\n".join(textwrap.wrap(text, columns)) for text in texts)
