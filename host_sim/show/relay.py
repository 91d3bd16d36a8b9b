"""A relay test of a device as a figure: pressure and output, with what came of it."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from host_sim.show.style import BLUE, GREY, INK, ORANGE, PLUM, new_figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

DASHED = (0, (4, 1.5))
DOTTED = (0, (1.5, 1.5))


@dataclass(frozen=True)
class RelayTrace:
    """What was seen of a relay test, before it and after it.

    Parameters
    ----------
    title : str
        The scenario's.
    tick_s : float
        Tick [s].
    setpoint, pressure, output : sequence of float
        One number a tick, fraction of span.
    first, last, accepted : int
        Tick at which the relay began, first tick after it, tick of the consent.
    middle, size : float
        Output around which the relay swung, and how far, fraction of span.
    period_s : float
        Period of the swing [s].
    ultimate_gain : float
        Gain at the stability limit, output per error.
    rule : str
        The rule that proposed the gains.
    """

    title: str
    tick_s: float
    setpoint: Sequence[float]
    pressure: Sequence[float]
    output: Sequence[float]
    first: int
    last: int
    accepted: int
    middle: float
    size: float
    period_s: float
    ultimate_gain: float
    rule: str


def relay_figure(trace: RelayTrace) -> "Figure":
    """Draw a relay test, and the loop with the gains that came of it."""
    figure = new_figure(6.2, (1.5, 1.0))
    pressure, output = figure.axes
    _draw_pressure(pressure, trace)
    _draw_output(output, trace)
    for panel in (pressure, output):
        _mark(panel, trace)
    figure.suptitle(trace.title)
    return figure


def _times_s(trace: RelayTrace) -> list[float]:
    return [tick * trace.tick_s for tick in range(len(trace.pressure))]


def _draw_pressure(panel: "Axes", trace: RelayTrace) -> None:
    time_s = _times_s(trace)
    wanted = [100 * part for part in trace.setpoint]
    found = [100 * part for part in trace.pressure]
    panel.plot(time_s, wanted, color=GREY, ls=DASHED, label="set point")
    panel.plot(time_s, found, color=BLUE, label="pressure")
    panel.set_ylabel("pressure, %")
    panel.legend(loc="upper left", ncols=2, frameon=False)
    # Room for the legend and the words of the marks above the curves.
    low, high = panel.get_ylim()
    panel.set_ylim(low, high + 0.45 * (high - low))
    _write(panel, trace.first * trace.tick_s, _result(trace))
    _write(panel, trace.accepted * trace.tick_s, "gains accepted")


def _result(trace: RelayTrace) -> str:
    return (
        f"relay test: ultimate gain {trace.ultimate_gain:.3g},\n"
        f"period {trace.period_s:.3g} s; rule {trace.rule}"
    )


def _write(panel: "Axes", time_s: float, words: str) -> None:
    panel.annotate(
        words,
        (time_s, 0.84),
        xycoords=panel.get_xaxis_transform(),
        xytext=(4, 0),
        textcoords="offset points",
        va="top",
        color=INK,
        fontsize=9,
    )


def _draw_output(panel: "Axes", trace: RelayTrace) -> None:
    drawn = [100 * part for part in trace.output]
    # An output holds from its tick to the next.
    panel.step(_times_s(trace), drawn, where="post", color=ORANGE, label="output")
    bounds_s = [trace.first * trace.tick_s, trace.last * trace.tick_s]
    for level in (trace.middle - trace.size, trace.middle + trace.size):
        panel.plot(bounds_s, [100 * level] * 2, color=INK, ls=DOTTED, lw=1.1)
    panel.plot([], [], color=INK, ls=DOTTED, lw=1.1, label="limits of the relay")
    panel.set_ylabel("output, %")
    panel.set_xlabel("time, s")
    low, high = panel.get_ylim()
    panel.set_ylim(low, high + 0.3 * (high - low))
    panel.legend(loc="upper left", ncols=2, frameon=False)


def _mark(panel: "Axes", trace: RelayTrace) -> None:
    """Shade the test and draw a line at the consent."""
    first_s, last_s = trace.first * trace.tick_s, trace.last * trace.tick_s
    panel.axvspan(first_s, last_s, color=PLUM, alpha=0.1, lw=0)
    panel.axvline(trace.accepted * trace.tick_s, color=INK, lw=0.9, ls=(0, (2, 2)))
