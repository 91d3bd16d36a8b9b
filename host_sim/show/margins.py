"""The margins of a loop as a table and as Bode and Nyquist curves."""

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from host_sim.measure.margin_study import MarginStudy, PointMargins, decibels
from host_sim.measure.margins import FloatArray, Margins
from host_sim.scenario.units import format_quantity, in_unit
from host_sim.show.style import BLUE, GREY, INK, ORANGE, PLUM, TEAL
from host_sim.show.tables import console, new_table, show_cautions

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

COLOURS = (BLUE, ORANGE, TEAL, PLUM, INK)
STYLES: tuple[Any, ...] = (
    "-",
    (0, (4, 1.5)),
    (0, (6, 1.5, 1, 1.5)),
    (0, (2.5, 1.2)),
    (0, (1, 1.2)),
)
DECADES_BELOW, DECADES_ABOVE = 2.0, 1.0
LOWEST_PHASE_DEG = -450.0
NO_MARGIN = "none"


def curve_look(k: int) -> tuple[str, Any]:
    """Choose colour and line style of the k-th curve; 25 differ."""
    count = len(COLOURS)
    return COLOURS[k % count], STYLES[(k + k // count) % count]


def finite(number: float, form: str) -> str:
    """Write a number, or that there is no such margin."""
    return format(number, form) if math.isfinite(number) else NO_MARGIN


MARGIN_COLUMNS = (
    "stable",
    "GM",
    "dB",
    "at rad/s",
    "PM deg",
    "at rad/s",
    "Ms",
    "Mt",
    "bandwidth rad/s",
)


def margin_cells(found: Margins) -> tuple[str, ...]:
    """Write margins under `MARGIN_COLUMNS`."""
    return (
        "yes" if found.stable else "NO",
        finite(found.gain_margin, ".2f"),
        finite(decibels(found.gain_margin), ".1f"),
        finite(found.phase_crossover_rad_s, ".3g"),
        finite(found.phase_margin_deg, ".1f"),
        finite(found.gain_crossover_rad_s, ".3g"),
        f"{found.ms:.2f}",
        f"{found.mt:.2f}",
        finite(found.bandwidth_rad_s, ".3g"),
    )


def show_margins(study: MarginStudy) -> None:
    """Print a row for each operating point, what was counted, notes, cautions."""
    scenario, out = study.scenario, console()
    unit, basis = scenario.pressure_unit, scenario.basis
    columns = ("at", f"load, {unit}", "drive %", *MARGIN_COLUMNS)
    table = new_table(f"{scenario.title}: margins", columns)
    for each in study.points:
        load = in_unit(each.point.load_pa, "pressure", unit, basis)
        drive = f"{100 * each.point.drive:.1f}"
        table.add_row(each.name, f"{load:.4g}", drive, *margin_cells(each.margins))
    out.print(table)
    out.print(_counted(study))
    for note in study.notes:
        out.print(f"note: {note}")
    show_cautions(out)


def _counted(study: MarginStudy) -> str:
    law, channel = study.law, study.scenario.plant.sensing.pressure
    gains = law.pid.gains
    flow = format_quantity(
        study.consumption_kg_s, "flow", study.scenario.flow_unit, study.scenario.basis
    )
    return (
        f"gains as the board keeps them: kp {gains.kp:.6g}, ki {gains.ki_per_s:.6g} "
        f"1/s, kd {gains.kd_s:.6g} s\n"
        f"counted: tick {1e3 * law.tick_s:g} ms with the drive held, "
        f"computing delay {study.scenario.compute_delay_ticks} ticks, transport delay "
        f"{1e3 * channel.delay_s:g} ms, sensor lag {1e3 * channel.lag_s:g} ms, filters "
        f"{1e3 * law.measurement.filter_s:.3g} ms and (D) "
        f"{1e3 * law.pid.derivative_filter_s:.3g} ms; consumption {flow}"
    )


def margins_figure(study: MarginStudy) -> "Figure":
    """Draw Bode curves beside Nyquist curves near -1, with the Ms circle."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(9.0, 5.2), dpi=140, layout="constrained")
    panels = figure.subplot_mosaic(
        [["gain", "near"], ["phase", "near"]], width_ratios=(1.0, 1.1)
    )
    gain, phase, near = (panels[name] for name in ("gain", "phase", "near"))
    phase.sharex(gain)
    gain.tick_params(labelbottom=False)
    for panel in panels.values():
        panel.grid(visible=True, color="#e3e5e8", linewidth=0.8)
        panel.spines[["top", "right"]].set_visible(False)
    frequency_rad_s = _frequencies(study)
    for k, each in enumerate(study.points):
        colour, style = curve_look(k)
        gains = each.loop_gain(frequency_rad_s)
        phase_deg = np.degrees(np.unwrap(np.angle(gains)))
        for panel, x, y in (
            (gain, frequency_rad_s, np.abs(gains)),
            (phase, frequency_rad_s, phase_deg),
            (near, gains.real, gains.imag),
        ):
            panel.plot(x, y, color=colour, linestyle=style, label=each.name)
        _mark(gain, phase, each, colour)
    _finish_bode(gain, phase, study)
    _finish_nyquist(near, study.worst)
    figure.suptitle(f"{study.scenario.title}: loop gain, small movements")
    return figure


def _frequencies(study: MarginStudy) -> FloatArray:
    """Span the crossings of all points, up to half the sampling frequency."""
    highest = math.pi / study.law.tick_s
    seen = [each.margins for each in study.points]
    crossings = [m.gain_crossover_rad_s for m in seen]
    crossings += [m.phase_crossover_rad_s for m in seen]
    known = [w for w in crossings if math.isfinite(w)] or [highest]
    low = min(known) / 10.0**DECADES_BELOW
    return np.geomspace(low, min(highest, max(known) * 10.0**DECADES_ABOVE), 2_000)


def _mark(gain: "Axes", phase: "Axes", each: PointMargins, colour: str) -> None:
    """Draw each margin as the distance that it is."""
    found = each.margins
    if math.isfinite(found.gain_margin):
        w = found.phase_crossover_rad_s
        gain.plot([w, w], [1.0 / found.gain_margin, 1.0], color=colour, linewidth=2.4)
    if math.isfinite(found.phase_margin_deg):
        w = found.gain_crossover_rad_s
        ends = [-180.0, found.phase_margin_deg - 180.0]
        phase.plot([w, w], ends, color=colour, linewidth=2.4)


def _finish_bode(gain: "Axes", phase: "Axes", study: MarginStudy) -> None:
    from matplotlib.ticker import MultipleLocator

    highest = math.pi / study.law.tick_s
    gain.set_xscale("log")
    gain.set_yscale("log")
    gain.axhline(1.0, color=INK, linewidth=0.8)
    phase.axhline(-180.0, color=INK, linewidth=0.8)
    for panel in (gain, phase):
        if panel.get_xlim()[1] >= highest:
            panel.axvline(highest, color=GREY, linewidth=1.2, linestyle=(0, (1, 1.2)))
    phase.set_ylim(max(LOWEST_PHASE_DEG, phase.get_ylim()[0]), None)
    phase.yaxis.set_major_locator(MultipleLocator(90.0))
    gain.set_ylabel("|L|")
    phase.set_ylabel("phase of L, degrees")
    phase.set_xlabel("frequency, rad/s (dotted: half the sampling)")
    gain.set_title("thick: gain margin", fontsize="small", loc="left")
    phase.set_title("thick: phase margin", fontsize="small", loc="left")


def _finish_nyquist(near: "Axes", worst: PointMargins) -> None:
    ms = worst.margins.ms
    turn = np.linspace(0.0, 2.0 * math.pi, 400)
    near.plot(np.cos(turn), np.sin(turn), color=GREY, linewidth=0.9, label="|L| = 1")
    near.fill(
        -1.0 + np.cos(turn) / ms,
        np.sin(turn) / ms,
        facecolor=GREY,
        alpha=0.25,
        edgecolor=INK,
        label=f"circle of Ms {ms:.2f} ({worst.name})",
    )
    near.plot([-1.0], [0.0], marker="+", color=INK, markersize=10, linestyle="none")
    near.set_xlim(-2.2, 1.2)
    near.set_ylim(-2.6, 1.2)
    near.set_aspect("equal")
    near.set_xlabel("real part of L")
    near.set_ylabel("imaginary part of L")
    near.legend(loc="lower left", fontsize="small", frameon=True, framealpha=0.9)
