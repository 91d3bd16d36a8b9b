"""One figure a sequence, drawn from its rows, as SVG that stands in a page."""

import io
from typing import TYPE_CHECKING

import numpy as np

from host_sim.accept.acceptance import SequenceResult
from host_sim.accept.bench import readings
from host_sim.accept.model_rig import stated_range
from host_sim.accept.sequence_frequency import response_points
from host_sim.measure.curve import FloatArray
from host_sim.scenario.load import Scenario
from host_sim.show.style import BLUE, GREY, ORANGE, PLUM, TEAL, new_figure

if TYPE_CHECKING:
    from matplotlib.figure import Figure

MOST_POINTS = 1_500
WIDTH_IN = 6.4


def sequence_svg(scenario: Scenario, result: SequenceResult) -> tuple[str, str]:
    """Draw a sequence; return its SVG and caption, empty without rows."""
    if not result.rows.table:
        return "", ""
    if result.name == "static":
        figure, caption = _static(scenario, result)
    elif result.name == "frequency":
        figure, caption = _frequency(scenario, result)
    else:
        figure, caption = _trace(scenario, result)
    return svg_text(figure, result.name), caption


def svg_text(figure: "Figure", salt: str) -> str:
    """Write a figure as SVG that stands in a page.

    Parameters
    ----------
    figure : Figure
    salt : str
        Its own, so that names within several pictures of one page do not meet.
    """
    from matplotlib import rc_context

    # Narrow, so that its words can be read on a phone too.
    figure.set_figwidth(WIDTH_IN)
    stream = io.StringIO()
    with rc_context({"svg.fonttype": "none", "svg.hashsalt": salt}):
        figure.savefig(stream, format="svg", metadata={"Date": None})
    text = stream.getvalue()
    return text[text.index("<svg") :]


def _static(scenario: Scenario, result: SequenceResult) -> "tuple[Figure, str]":
    """Errors of all readings, up and down."""
    span = stated_range(scenario)
    figure = new_figure(3.2, (1.0,))
    (panel,) = figure.axes
    for way, colour, style in (("up", BLUE, "-"), ("down", ORANGE, (0, (4, 1.5)))):
        found = [s for s in readings(result.rows) if s.words[2] == way]
        for cycle in dict.fromkeys(s.words[1] for s in found):
            part = [s for s in found if s.words[1] == cycle]
            percents = np.array([float(s.words[3]) for s in part])
            means = np.array([s.mean_pa for s in part])
            errors = 100.0 * (means - span.pressure_pa[0]) / _size(scenario) - percents
            label = way if cycle == found[0].words[1] else None
            panel.plot(
                percents, errors, color=colour, ls=style, marker=".", label=label
            )
    panel.set_xlabel("input, % of span")
    panel.set_ylabel("error, % of span")
    panel.axhline(0.0, color=GREY, linewidth=0.8)
    panel.legend(frameon=False, ncols=2)
    return figure, "Error of every reading, up and down, each cycle."


def _frequency(scenario: Scenario, result: SequenceResult) -> "tuple[Figure, str]":
    """Gain and phase of the sine steps."""
    points = response_points(result.rows, stated_range(scenario))
    figure = new_figure(4.2, (1.0, 1.0))
    gain, phase = figure.axes
    frequencies_hz = [point.frequency_hz for point in points]
    gain.plot(frequencies_hz, [p.gain_db for p in points], color=BLUE, marker="o")
    phase.plot(frequencies_hz, [p.phase_deg for p in points], color=PLUM, marker="s")
    gain.axhline(-3.0, color=GREY, ls=(0, (2, 2)))
    phase.axhline(-90.0, color=GREY, ls=(0, (2, 2)))
    gain.set_xscale("log")
    gain.set_ylabel("gain, dB")
    phase.set_ylabel("phase, degrees")
    phase.set_xlabel("frequency, Hz")
    return figure, "Response of the pressure to sine steps of the command."


def _trace(scenario: Scenario, result: SequenceResult) -> "tuple[Figure, str]":
    """Command and pressure over time."""
    span = stated_range(scenario)
    table = result.rows.table
    every = max(len(table) // MOST_POINTS, 1)
    time_s, current_ma, pressure_pa, drive = (
        np.array([row[column] for row in table[::every]]) for column in range(4)
    )
    low_ma, high_ma = span.current_ma
    wanted = 100.0 * (current_ma - low_ma) / (high_ma - low_ma)
    figure = new_figure(3.8, (2.4, 1.0))
    pressure, output = figure.axes
    pressure.plot(time_s, wanted, color=GREY, ls=(0, (4, 1.5)), label="command")
    pressure.plot(time_s, _percent(scenario, pressure_pa), color=BLUE, label="pressure")
    pressure.set_ylabel("% of span")
    pressure.legend(frameon=False, ncols=2)
    output.plot(time_s, 100.0 * drive, color=TEAL)
    output.set_ylabel("drive, %")
    output.set_xlabel("time, s")
    return figure, "Command, pressure and drive over the whole sequence."


def _size(scenario: Scenario) -> float:
    low_pa, high_pa = stated_range(scenario).pressure_pa
    return high_pa - low_pa


def _percent(scenario: Scenario, pressure_pa: FloatArray) -> FloatArray:
    low_pa = stated_range(scenario).pressure_pa[0]
    return 100.0 * (pressure_pa - low_pa) / _size(scenario)
