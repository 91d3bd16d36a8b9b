"""The table and the figure of a trade-off."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from host_sim.show.style import BLUE, GREY, INK, ORANGE, PLUM
from host_sim.show.tables import console, new_table, show_cautions
from host_sim.tune.bench import Row
from host_sim.tune.front import TradeOff, prices
from host_sim.tune.reasons import notes

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

COLUMNS = ("point", "kc", "ti s", "td s", "settling s", "over %", "travel", "Ms", "")
FEWEST_PERCENT = 0.05
NEAR = (0.05, 0.05)
"""Shares of the panel within which two numbers would touch."""


def show_trade_off(found: TradeOff) -> None:
    """Print the rows to choose from, each with its price."""
    out = console()
    rows = found.table()
    title = (
        f"{found.scenario.title}: the front, worst of {len(found.bench.machines)} "
        "machines, all steps"
    )
    table = new_table(title, COLUMNS)
    for row, price in zip(rows, prices(rows), strict=True):
        gains = row.law.pid.gains
        mark = "recommended; " if row is found.recommended else ""
        table.add_row(
            row.name.removeprefix("point "),
            f"{gains.kp:.3g}",
            f"{gains.ti_s:.3g}",
            f"{gains.td_s:.3g}",
            f"{row.settling_s:.2f}",
            f"{100 * row.overshoot:.1f}",
            f"{row.travel:.2f}",
            f"{row.ms:.2f}",
            mark + price,
        )
    out.print(table)
    out.print(
        f"{len(found.front)} points on the front; choose one with --choose NUMBER and "
        "--write or --block"
    )
    if found.recommended is None:
        out.print(
            "note: no point holds the limits of the scenario; the slowest comes nearest"
        )
    for note in notes(found.bench):
        out.print(f"note: {note}")
    show_cautions(out)


def trade_off_figure(found: TradeOff) -> "Figure":
    """Draw settling against overshoot, travel as the size of the points."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(9.0, 5.6), dpi=140, layout="constrained")
    panel = figure.subplots()
    panel.grid(visible=True, color="#e3e5e8", linewidth=0.8)
    panel.spines[["top", "right"]].set_visible(False)
    rules = [row for row in found.rule_rows if not row.unsettled]
    recommended = [row for row in [found.recommended] if row]
    sets: list[tuple[str, Sequence[Row], str, str]] = [
        ("front", found.front, BLUE, "o"),
        ("rules that settle, numbered", rules, GREY, "s"),
        ("present", [found.present], ORANGE, "D"),
        ("recommended", recommended, PLUM, "*"),
    ]
    for label, rows, colour, marker in sets:
        places = [_place(row) for row in rows]
        panel.scatter(
            [x for x, _ in places],
            [y for _, y in places],
            s=[_size(row.travel) * (4.0 if marker == "*" else 1.0) for row in rows],
            c=colour,
            marker=marker,
            label=label,
            alpha=0.85,
            edgecolors=INK if marker == "*" else "none",
        )
    panel.set_xscale("log")
    panel.xaxis.set_major_formatter("{x:g}")
    panel.set_xlabel(
        "overshoot of the worst step on the worst machine, % "
        f"(less than {FEWEST_PERCENT:g} drawn there)"
    )
    panel.set_ylabel("settling of all steps on the slowest machine, s")
    panel.legend(loc="lower right", bbox_to_anchor=(1, 1), ncols=4, frameon=False)
    _mark_limit(panel, 100 * found.scenario.limits.overshoot)
    _number(panel, rules)
    figure.suptitle(
        f"{found.scenario.title}: what speed costs (larger points: more valve travel)"
    )
    return figure


def _place(row: Row) -> tuple[float, float]:
    return max(100 * row.overshoot, FEWEST_PERCENT), row.settling_s


def _size(travel: float) -> float:
    return 14.0 + 30.0 * min(travel, 6.0)


def _mark_limit(panel: "Axes", percent: float) -> None:
    panel.axvline(percent, color=INK, linewidth=1.0, linestyle=(0, (4, 2)))
    panel.annotate(
        "limit",
        (percent, 1.0),
        xycoords=("data", "axes fraction"),
        fontsize=8,
        xytext=(3, -10),
        textcoords="offset points",
    )


def _number(panel: "Axes", rows: Sequence[Row]) -> None:
    """Write numbers above points, near ones together, and a key beside the panel."""
    # Only then are the limits those of the points.
    panel.autoscale_view()
    to_share = panel.transData + panel.transAxes.inverted()
    labels: list[tuple[float, float, list[int]]] = []
    # From the top, so that a label stands above all of its points.
    for number, row in sorted(enumerate(rows, 1), key=lambda pair: -pair[1].settling_s):
        x, y = to_share.transform(_place(row))
        near = [
            numbers
            for other_x, other_y, numbers in labels
            if abs(x - other_x) < NEAR[0] and abs(y - other_y) < NEAR[1]
        ]
        if near:
            near[0].append(number)
        else:
            labels.append((x, y, [number]))
    for x, y, numbers in labels:
        panel.annotate(
            ", ".join(map(str, sorted(numbers))),
            (x, y),
            xycoords="axes fraction",
            xytext=(0, 9),
            textcoords="offset points",
            ha="center",
            fontsize=8,
            color=INK,
        )
    key = "\n".join(f"{number}  {row.name}" for number, row in enumerate(rows, 1))
    panel.text(
        1.02, 0.98, key, transform=panel.transAxes, va="top", fontsize=8, color=INK
    )
