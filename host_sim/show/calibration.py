"""A calibration for people: figures with verdicts, points, the error curve."""

from typing import TYPE_CHECKING

from rich.console import Console

from host_sim.accept.calibration import Calibration
from host_sim.accept.verdicts import Verdict
from host_sim.measure.curve import FloatArray
from host_sim.show.style import BLUE, GREY, INK, ORANGE, SERIES, TEAL, new_figure
from host_sim.show.tables import NOT_KNOWN, console, new_table, show_cautions

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MOST_CYCLES = 6
"""Beyond, cycles are drawn and not named."""


def show_calibration(done: Calibration) -> None:
    """Print figures and verdicts, the points, notes and cautions."""
    out = console()
    span = done.stated.span
    low, high = span.current_ma
    acting = ", reverse acting" if span.is_reverse else ""
    out.print(
        f"{done.file}: {low:g} ... {high:g} mA{acting}; "
        f"{len(done.table.travels)} ways over {len(done.found.input_percent)} points"
    )
    out.print("errors are reading less ideal, in % of the output span\n")
    show_verdicts(done.verdicts, out)
    if done.limits:
        out.print(
            f"marginal: less than {100 * done.limits.guard:g} % of the limit left"
        )
    out.print()
    _show_points(done, out)
    out.print()
    _show_lines(done, out)
    out.print()
    for note in done.notes:
        out.print(f"note: {note}")
    show_cautions(out)


def show_verdicts(verdicts: tuple[Verdict, ...], out: Console) -> None:
    """Print one row for each figure."""
    columns = ("figure", "measured", "unit", "limit", "margin", "verdict", "where")
    table = new_table("Figures", columns)
    for name in ("unit", "verdict", "where"):
        table.columns[columns.index(name)].justify = "left"
    for verdict in verdicts:
        figure = verdict.figure
        table.add_row(
            figure.name.replace("_", " "),
            _number(figure.measured),
            figure.unit,
            _number(verdict.limit),
            _number(verdict.margin),
            verdict.word,
            figure.text,
        )
    out.print(table)


def _number(number: float | None) -> str:
    return NOT_KNOWN if number is None else f"{number + 0.0:.4f}"


def _show_points(done: Calibration, out: Console) -> None:
    found, span = done.found, done.stated.span
    table = new_table("Average errors", ("input %", "mA", "up", "down", "average"))
    for k, point in enumerate(found.input_percent):
        table.add_row(
            f"{point:.2f}",
            f"{span.current_at_ma(float(point)):.3f}",
            _at(found.average_up_percent, k),
            _at(found.average_down_percent, k),
            f"{found.average_percent[k] + 0.0:+.4f}",
        )
    out.print(table)


def _show_lines(done: Calibration, out: Console) -> None:
    columns = ("through it", "at 0 % input", "at 100 %", "above", "below")
    table = new_table("Lines through the average curve", columns)
    for name, line in done.found.lines.items():
        table.add_row(
            name.replace("_", " "),
            f"{line.intercept_percent + 0.0:+.4f}",
            f"{line.intercept_percent + 100.0 * line.tilt + 0.0:+.4f}",
            f"{line.above_percent:+.4f}",
            f"{line.below_percent + 0.0:+.4f}",
        )
    out.print(table)


def _at(curve: FloatArray | None, k: int) -> str:
    return NOT_KNOWN if curve is None else f"{curve[k] + 0.0:+.4f}"


def calibration_figure(done: Calibration) -> "Figure":
    """Draw every reading's error, and the average curve with its best line."""
    figure = new_figure(7.0, (2.2, 1.2))
    errors, average = figure.axes
    _draw_travels(errors, done)
    _draw_limits(errors, done, "inaccuracy")
    errors.axhline(0.0, color=INK, linewidth=0.8)
    errors.set_ylabel("error of readings, % of span")
    errors.legend(loc="lower right", bbox_to_anchor=(1, 1), ncols=4, frameon=False)
    _draw_average(average, done)
    average.set_xlabel("input, % of span")
    figure.suptitle(f"{done.file}: error over input", x=0.02, ha="left")
    return figure


def _draw_travels(panel: "Axes", done: Calibration) -> None:
    counts = {True: 0, False: 0}
    for travel in done.table.travels:
        cycle = counts[travel.rising]
        counts[travel.rising] += 1
        span = done.stated.span
        word = "up" if travel.rising else "down"
        panel.plot(
            span.input_percent(travel.current_ma),
            span.error_percent(travel.current_ma, travel.reading_pa),
            color=BLUE if travel.rising else ORANGE,
            linestyle=SERIES[-1 - cycle % len(SERIES)][1],
            linewidth=1.3,
            marker="^" if travel.rising else "v",
            markersize=4.5,
            label=f"{word} {cycle + 1}" if cycle < MOST_CYCLES else None,
        )


def _draw_limits(panel: "Axes", done: Calibration, name: str) -> None:
    limit = done.limits.limits.get(name) if done.limits else None
    if limit is None:
        return
    panel.axhspan(-limit, limit, color=GREY, alpha=0.18, linewidth=0)
    for edge, label in ((limit, f"limit of {name}"), (-limit, None)):
        panel.axhline(
            edge, color=INK, linewidth=1.0, linestyle=(0, (4, 2)), label=label
        )


def _draw_average(panel: "Axes", done: Calibration) -> None:
    found, line = done.found, done.found.lines["independent"]
    points = found.input_percent
    middle = line.intercept_percent + line.tilt * points
    size = line.linearity_percent
    panel.fill_between(
        points,
        middle - size,
        middle + size,
        color=TEAL,
        alpha=0.18,
        linewidth=0,
        label=f"independent linearity +-{size:.3g} %",
    )
    panel.plot(points, middle, color=TEAL, linestyle=(0, (6, 1.5, 1, 1.5)))
    panel.plot(points, found.average_percent, color=INK, marker=".", label="average")
    panel.set_ylabel("average error,\n% of span")
    panel.legend(loc="lower right", bbox_to_anchor=(1, 0.98), ncols=2, frameon=False)
