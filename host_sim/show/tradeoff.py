"""The table and the figure of a trade-off."""

from typing import TYPE_CHECKING

from host_sim.show.style import BLUE, GREY, INK, ORANGE, PLUM
from host_sim.show.tables import console, new_table, show_cautions
from host_sim.tune.front import TradeOff, prices

if TYPE_CHECKING:
    from matplotlib.figure import Figure

COLUMNS = ("point", "kc", "ti s", "td s", "settling s", "over %", "travel", "Ms", "")
FEWEST_PERCENT = 0.05


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
    show_cautions(out)


def trade_off_figure(found: TradeOff) -> "Figure":
    """Draw settling against overshoot, travel as the size of the points."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(9.0, 5.6), dpi=140, layout="constrained")
    panel = figure.subplots()
    panel.grid(visible=True, color="#e3e5e8", linewidth=0.8)
    panel.spines[["top", "right"]].set_visible(False)
    sets = (
        ("front", found.front, BLUE, "o"),
        (
            "rules that settle",
            [r for r in found.rule_rows if not r.unsettled],
            GREY,
            "s",
        ),
        ("present", [found.present], ORANGE, "D"),
        ("recommended", [r for r in [found.recommended] if r], PLUM, "*"),
    )
    for label, rows, colour, marker in sets:
        panel.scatter(
            [max(100 * row.overshoot, FEWEST_PERCENT) for row in rows],
            [row.settling_s for row in rows],
            s=[_size(row.travel) * (4.0 if marker == "*" else 1.0) for row in rows],
            c=colour,
            marker=marker,
            label=label,
            alpha=0.85,
            edgecolors=INK if marker == "*" else "none",
        )
    for row in found.rule_rows:
        if not row.unsettled:
            panel.annotate(
                row.name,
                (max(100 * row.overshoot, FEWEST_PERCENT), row.settling_s),
                xytext=(6, 4),
                textcoords="offset points",
                fontsize=8,
                color=INK,
            )
    limit = 100 * found.scenario.limits.overshoot
    panel.axvline(limit, color=INK, linewidth=1.0, linestyle=(0, (4, 2)))
    panel.annotate(
        "limit",
        (limit, 1.0),
        xycoords=("data", "axes fraction"),
        fontsize=8,
        xytext=(3, -10),
        textcoords="offset points",
    )
    panel.set_xscale("log")
    panel.xaxis.set_major_formatter("{x:g}")
    panel.set_xlabel("overshoot of the worst step on the worst machine, %")
    panel.set_ylabel("settling of all steps on the slowest machine, s")
    panel.legend(loc="upper right", frameon=False)
    figure.suptitle(
        f"{found.scenario.title}: what speed costs (larger points: more valve travel)"
    )
    return figure


def _size(travel: float) -> float:
    return 14.0 + 30.0 * min(travel, 6.0)
