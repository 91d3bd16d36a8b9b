"""A sizing as tables and as pressure over time for classes of capacity."""

from typing import TYPE_CHECKING

import numpy as np
from rich.console import Console

from host_sim.scenario.units import format_quantity, in_unit
from host_sim.show.figures import shown_pressure
from host_sim.show.style import BLUE, GREY, INK, ORANGE, SERIES
from host_sim.show.tables import console, new_table, pressure_text, show_cautions
from host_sim.size.classes import class_curves
from host_sim.size.flow_units import cv_per_kv, kv_range
from host_sim.size.report import CONDUCTANCE, FORMULAS, scfm_unit
from host_sim.size.sizing import Sizing, StrokeAnswer, time_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

ACTS = ("filling", "venting")
GRID = "#e3e5e8"


def show_sizing(sizing: Sizing) -> None:
    """Print needs, reasons, limits, assumptions and cautions."""
    out = console()
    _show_needs(sizing, out)
    for act, answer in zip(ACTS, (sizing.fill, sizing.vent), strict=True):
        out.print()
        _show_reasons(act, answer, out)
        _show_elements(act, answer, out)
    out.print()
    _show_supply(sizing, out)
    _show_range(sizing, out)
    for sentence in sizing.assumed:
        out.print(f"assumed: {sentence}")
    for name, words in FORMULAS.items():
        out.print(f"{name}: {words}")
    show_cautions(out)


def conductance_text(conductance_m3_s_pa: float | None) -> str:
    """Write a conductance in dm3/(s.bar), without the unit."""
    if conductance_m3_s_pa is None:
        return "-"
    return f"{in_unit(conductance_m3_s_pa, 'conductance', CONDUCTANCE):.3g}"


def _show_needs(sizing: Sizing, out: Console) -> None:
    table = new_table(f"{sizing.scenario.title}: flow capacity", ("", *ACTS))
    cells = [_needs(sizing, answer) for answer in (sizing.fill, sizing.vent)]
    for name in cells[0]:
        table.add_row(name, *(column[name] for column in cells))
    out.print(table)
    basis = sizing.scenario.basis
    out.print(
        f"flows: SCFM stands on {scfm_unit(basis)[1]}, ANR on "
        f"{basis.anr_density_kg_m3:g} kg/m3; air at the reference temperature of C"
    )


def _needs(sizing: Sizing, answer: StrokeAnswer) -> dict[str, str]:
    scenario, stroke = sizing.scenario, answer.stroke
    basis, air = scenario.basis, stroke.plant.air
    kv = kv_range((answer.needed.conductance_m3_s_pa,) * 3, air)
    feet, _ = scfm_unit(basis)

    def pressure(pressure_pa: float) -> str:
        return f"{in_unit(pressure_pa, 'pressure', scenario.pressure_unit, basis):.4g}"

    def ends(up_pa: float, down_pa: float) -> str:
        return f"{pressure(up_pa)} -> {pressure(down_pa)}"

    verdict = "enough" if answer.present_is_enough else "too slow"
    return {
        f"stroke, {scenario.pressure_unit}": ends(stroke.start_pa, stroke.target_pa),
        "wanted": f"{stroke.wanted_s:g} s",
        f"needed C, {CONDUCTANCE}": conductance_text(answer.needed.conductance_m3_s_pa),
        "   at b, m": f"{answer.needed.critical_ratio:g}, {answer.needed.index:g}",
        "   Kv (not exact)": "{1:.3g} ({0:.3g} ... {2:.3g})".format(*kv),
        "   Cv (not exact)": "{1:.3g} ({0:.3g} ... {2:.3g})".format(
            *(cv_per_kv() * number for number in kv)
        ),
        f"   passes, at {scenario.pressure_unit}": ends(
            answer.stated_up_pa, answer.stated_down_pa
        ),
        "      l/min ANR": _flow(answer.flow_kg_s, "l/min ANR", sizing),
        f"      {feet}": _flow(answer.flow_kg_s, feet, sizing),
        "   simulated with it": time_text(answer.needed_s, stroke),
        f"present C, {CONDUCTANCE}": conductance_text(
            answer.present.conductance_m3_s_pa
        ),
        "   simulated with that": f"{time_text(answer.present_s, stroke)}, {verdict}",
    }


def _flow(flow_kg_s: float, unit: str, sizing: Sizing) -> str:
    return f"{in_unit(flow_kg_s, 'flow', unit, sizing.scenario.basis):.4g}"


def _show_reasons(act: str, answer: StrokeAnswer, out: Console) -> None:
    columns = (f"{act}: from the quick formula", f"C, {CONDUCTANCE}", "change")
    table = new_table("", columns)
    before = None
    for reason in answer.reasons:
        change = ""
        if before:
            change = f"{100 * (reason.conductance_m3_s_pa / before - 1):+.1f} %"
        before = reason.conductance_m3_s_pa
        table.add_row(reason.words, conductance_text(before), change)
    out.print(table)


def _show_elements(act: str, answer: StrokeAnswer, out: Console) -> None:
    columns = (f"{act}: what costs time", f"C, {CONDUCTANCE}", "without it", "costs")
    table = new_table("", columns)
    for element in answer.elements:
        costs_s = answer.needed_s - element.without_s
        table.add_row(
            element.name,
            conductance_text(element.conductance_m3_s_pa),
            time_text(element.without_s, answer.stroke),
            f"{costs_s:.3f} s",
        )
    out.print(table)


def _show_supply(sizing: Sizing, out: Console) -> None:
    scenario = sizing.scenario
    text = pressure_text(scenario)

    def pressure(pressure_pa: float) -> str:
        unit, basis = scenario.pressure_unit, scenario.basis
        return format_quantity(pressure_pa, "pressure", unit, basis)

    out.print(
        f"supply: {pressure(sizing.source_pa)} at its lowest, "
        f"{text(sizing.supply_margin_pa)} above the wanted end; falls by "
        f"{text(sizing.droop_pa)} to {pressure(sizing.fill.lowest_supply_pa)} at the "
        f"valve while filling; flow is choked up to {pressure(sizing.choked_to_pa)}"
    )


def _show_range(sizing: Sizing, out: Console) -> None:
    picked, scenario = sizing.range, sizing.scenario
    if picked is None:
        out.print("range: the set points lie above every usual range")
        return
    low, high = (
        format_quantity(end_pa, "pressure", scenario.pressure_unit, scenario.basis)
        for end_pa in (picked.low_pa, picked.high_pa)
    )
    text = pressure_text(scenario)
    steps = f"one count of the law {text(picked.counts_pa)}"
    if picked.converter_pa is not None:
        bits = scenario.plant.sensing.pressure.bits
        steps += f", of a {bits}-bit converter {text(picked.converter_pa)}"
    out.print(
        f"range: {low} ... {high}, used to {100 * picked.used:.0f} % by the highest "
        f"set point; {steps}"
    )


def sizing_figure(sizing: Sizing) -> "Figure":
    """Draw filling above venting, a curve for each class."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(9.0, 7.0), dpi=140, layout="constrained")
    # Each panel has its own time: venting may take many times as long.
    for panel, act, answer in zip(
        figure.subplots(2, 1), ACTS, (sizing.fill, sizing.vent), strict=True
    ):
        panel.grid(visible=True, color=GRID, linewidth=0.8)
        panel.spines[["top", "right"]].set_visible(False)
        panel.margins(x=0.01)
        _draw_classes(panel, act, sizing, answer)
    figure.suptitle(f"{sizing.scenario.title}: classes of capacity")
    return figure


def _draw_classes(
    panel: "Axes", act: str, sizing: Sizing, answer: StrokeAnswer
) -> None:
    scenario, stroke = sizing.scenario, answer.stroke
    needed = stroke.path.conductance_m3_s_pa
    others = iter((GREY, ORANGE, *(colour for colour, _ in SERIES[2:])))
    styles = iter(style for _, style in SERIES)
    if not needed:
        panel.set_title(f"{act}: bleed and consumption do it alone")
        return
    for conductance, trace in class_curves(stroke):
        own = conductance == needed
        panel.plot(
            trace.time_s,
            shown_pressure(scenario, np.array(trace.load_pa)),
            color=BLUE if own else next(others),
            linestyle="-" if own else next(styles),
            linewidth=2.4 if own else 1.6,
            label=f"{conductance_text(conductance)}{' needed' if own else ''}",
        )
    target = float(shown_pressure(scenario, np.array([stroke.target_pa]))[0])
    panel.axhline(target, color=INK, linewidth=0.8, linestyle=(0, (1, 2)))
    panel.axvline(stroke.wanted_s, color=INK, linewidth=0.8, linestyle=(0, (1, 2)))
    panel.plot([stroke.wanted_s], [target], "o", color=INK, markersize=6)
    venting = stroke.kind == "vent"
    panel.annotate(
        f"wanted: {stroke.wanted_s:g} s",
        # Beside the line, on the side of the panel that the curves leave free.
        (stroke.wanted_s, 0.94 if venting else 0.06),
        xycoords=("data", "axes fraction"),
        xytext=(6, 0),
        textcoords="offset points",
        verticalalignment="center",
    )
    panel.set_xlabel("time from full opening, s")
    panel.set_ylabel(f"{act}: load, {scenario.pressure_unit}")
    panel.legend(
        title=f"C, {CONDUCTANCE}",
        loc="center left",
        bbox_to_anchor=(1.0, 0.5),
        frameon=False,
    )
