"""The ratios as a figure."""

from typing import TYPE_CHECKING

from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from bench.host_results import Ratio, Results
from host_sim.show.style import BLUE, GREY, INK, ORANGE, TEAL, new_figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LOOKS = {
    "single": ("one loop", BLUE, ""),
    "batch": ("many loops, one core", TEAL, "//"),
    "cores": ("many loops, all cores", TEAL, "xx"),
    "chain": ("the shipped press", GREY, ".."),
}
"""By race: name, colour, hatch."""


def ratio_figure(results: Results) -> "Figure":
    """Draw how many times as fast as each peer, with the reaches."""
    ratios = results.ratios()
    figure = new_figure(5.6, (1.0,))
    (panel,) = figure.axes
    for place, ratio in enumerate(ratios):
        _draw_ratio(panel, place, ratio)
    panel.axvline(1.0, color=INK, linewidth=1.0)
    panel.set_xscale("log")
    panel.set_xlim(0.5, 3.0 * max(ratio.best for ratio in ratios))
    names = [f"{ratio.pair.ours} / {ratio.pair.peer}" for ratio in ratios]
    panel.set_yticks(range(len(ratios)), names)
    panel.set_ylim(len(ratios) - 0.4, -0.6)
    panel.grid(visible=False, axis="y")
    panel.tick_params(axis="y", length=0)
    panel.xaxis.set_major_formatter("{x:g}")
    panel.set_xlabel("times as many ticks a second")
    figure.legend(handles=_legend(), loc="outside lower center", ncols=5, frameon=False)
    figure.suptitle("Compiled loops against their peers")
    return figure


def _draw_ratio(panel: "Axes", place: int, ratio: Ratio) -> None:
    _, colour, hatch = LOOKS[ratio.pair.race]
    left, right = sorted((1.0, ratio.best))
    panel.barh(
        place,
        right - left,
        left=left,
        height=0.62,
        facecolor=colour,
        edgecolor="white",
        hatch=hatch,
        linewidth=0.0,
        zorder=2,
    )
    reach = ratio.pair.reach
    if reach is not None:
        edge = (place - 0.42, place + 0.42)
        panel.plot((reach, reach), edge, color=ORANGE, linewidth=2.4, zorder=3)
    panel.annotate(
        f"{ratio.best:.3g}",
        (max(right, reach or 0.0), place),
        xytext=(6, 0),
        textcoords="offset points",
        va="center",
        color=INK,
    )


def _legend() -> list[Line2D | Patch]:
    return [
        *(
            Patch(facecolor=colour, edgecolor="white", hatch=hatch, label=name)
            for name, colour, hatch in LOOKS.values()
        ),
        Line2D([], [], color=ORANGE, linewidth=2.4, label="reach"),
    ]
