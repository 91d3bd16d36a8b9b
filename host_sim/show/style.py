"""One look for all figures: colours, lines, sizes, and how to save them."""

from pathlib import Path
from typing import TYPE_CHECKING

from host_sim.errors import InputError
from host_sim.show.files import write_whole

if TYPE_CHECKING:
    from matplotlib.figure import Figure

# Told apart by lightness as well as hue; line styles repeat the distinction.
INK, BLUE, ORANGE, TEAL, PLUM, GREY = (
    "#1d1d1f",
    "#1f4e9c",
    "#d9730d",
    "#22917f",
    "#8f2d5f",
    "#8a8f98",
)
SERIES = (
    (GREY, (0, (1, 1.2))),
    (ORANGE, (0, (4, 1.5))),
    (TEAL, (0, (6, 1.5, 1, 1.5))),
    (PLUM, (0, (2.5, 1.2))),
    (BLUE, "-"),
)


def new_figure(height_in: float, ratios: tuple[float, ...]) -> "Figure":
    """Make a figure of stacked panels that share their time axis."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(9.0, height_in), dpi=140, layout="constrained")
    axes = figure.subplots(len(ratios), 1, sharex=True, height_ratios=ratios)
    for panel in axes if len(ratios) > 1 else [axes]:
        panel.grid(visible=True, color="#e3e5e8", linewidth=0.8)
        panel.spines[["top", "right"]].set_visible(False)
        panel.margins(x=0.01)
    return figure


PICTURES = (".png", ".svg", ".pdf")


def check_picture(path: Path | None) -> None:
    """Refuse an ending that is no picture's.

    Raises
    ------
    InputError
    """
    if path is not None and path.suffix.lower() not in PICTURES:
        raise InputError(
            f"{path}: '{path.suffix}' is no picture; use one of {', '.join(PICTURES)}"
        )


def save(figure: "Figure", path: Path) -> None:
    """Save a figure whole, in the format of the file's ending.

    Raises
    ------
    InputError
        A folder that is not writable.
    """
    write_whole(path, lambda beside: figure.savefig(beside, metadata=None))
