"""The figures of a run and of a comparison."""

from typing import TYPE_CHECKING

import numpy as np

from host_sim.loop.record import FloatArray, Run
from host_sim.measure.comparison import Trial
from host_sim.measure.study import Study
from host_sim.plant.settings import ChainPlant
from host_sim.scenario.load import Scenario
from host_sim.scenario.units import in_unit
from host_sim.show.style import (
    BLUE,
    GREY,
    INK,
    ORANGE,
    PLUM,
    SERIES,
    TEAL,
    new_figure,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


def shown_pressure(scenario: Scenario, pressure_pa: FloatArray) -> FloatArray:
    """Turn absolute pressures into the scenario's unit for people."""
    zero, one = (
        in_unit(p, "pressure", scenario.pressure_unit, scenario.basis)
        for p in (0.0, 1e5)
    )
    return zero + pressure_pa * ((one - zero) / 1e5)


def setpoint_pa(scenario: Scenario, run: Run) -> FloatArray:
    """Find the set point of a run as an absolute pressure [Pa]."""
    low_pa, high_pa = scenario.pressure_range_pa
    return low_pa + run.columns["setpoint_percent"] / 100 * (high_pa - low_pa)


def step_figure(study: Study) -> "Figure":
    """Draw a run: pressures, what the law did, supply."""
    scenario, run = study.scenario, study.run
    figure = new_figure(7.6, (3.0, 1.6, 1.0))
    pressures, terms, supply = figure.axes
    _draw_pressures(pressures, scenario, run)
    columns, time_s = run.columns, run.time_s
    for name, label, colour, style in (
        ("proportional_percent", "P", ORANGE, (0, (4, 1.5))),
        ("integral_percent", "I", TEAL, (0, (6, 1.5, 1, 1.5))),
        ("derivative_percent", "D", PLUM, (0, (1.5, 1.2))),
        ("output_percent", "output", BLUE, "-"),
    ):
        terms.plot(time_s, columns[name], color=colour, linestyle=style, label=label)
    terms.set_ylabel("output, %")
    terms.set_ylim(max(-115, terms.get_ylim()[0]), min(115, terms.get_ylim()[1]))
    terms.legend(loc="lower right", bbox_to_anchor=(1, 0.97), ncols=4, frameon=False)
    supply.plot(time_s, shown_pressure(scenario, columns["supply_pa"]), color=INK)
    supply.set_ylabel(f"supply,\n{scenario.pressure_unit}")
    supply.set_xlabel("time, s")
    figure.suptitle(scenario.title)
    return figure


def _draw_pressures(panel: "Axes", scenario: Scenario, run: Run) -> None:
    time_s = run.time_s
    wanted_pa = setpoint_pa(scenario, run)
    low_pa, high_pa = scenario.pressure_range_pa
    band_pa = scenario.settle_band * (high_pa - low_pa)
    panel.fill_between(
        time_s,
        shown_pressure(scenario, wanted_pa - band_pa),
        shown_pressure(scenario, wanted_pa + band_pa),
        color=GREY,
        alpha=0.25,
        linewidth=0,
        label=f"set point +-{100 * scenario.settle_band:g} % of range",
    )
    if isinstance(scenario.plant.arrangement, ChainPlant):
        for column, colour, style in (
            ("pilot_pa", PLUM, (0, (1.5, 1.2))),
            ("outlet_pa", ORANGE, (0, (4, 1.5))),
        ):
            shown = shown_pressure(scenario, run.columns[column])
            label = column.removesuffix("_pa")
            panel.plot(time_s, shown, color=colour, linestyle=style, label=label)
    shown = shown_pressure(scenario, run.columns["load_pa"])
    panel.plot(time_s, shown, color=BLUE, linewidth=2.0, label="load")
    panel.set_ylabel(f"pressure, {scenario.pressure_unit}")
    panel.legend(loc="lower right", bbox_to_anchor=(1, 1), ncols=4, frameon=False)


def compare_figure(scenario: Scenario, trials: list[Trial]) -> "Figure":
    """Draw the largest step under every gain set, pressures above outputs."""
    figure = new_figure(6.6, (2.6, 1.2))
    pressures, outputs = figure.axes
    step = trials[0].step
    first = trials[0].run
    window = (first.time_s >= step.step_time_s - 0.08 * step.duration_s) & (
        first.time_s < step.step_time_s + step.duration_s
    )
    clock_s = first.time_s[window] - step.step_time_s
    setpoint = shown_pressure(scenario, setpoint_pa(scenario, first))[window]
    pressures.step(
        clock_s, setpoint, where="post", color=INK, linewidth=1.0, label="set point"
    )
    for trial, (colour, style) in zip(trials, _series(len(trials)), strict=True):
        width = 2.2 if trial is trials[-1] else 1.6
        for panel, values in (
            (pressures, shown_pressure(scenario, trial.run.columns["load_pa"])),
            (outputs, trial.run.columns["output_percent"]),
        ):
            panel.plot(
                clock_s,
                values[window],
                color=colour,
                linestyle=style,
                linewidth=width,
                label=_gains_label(trial),
            )
    pressures.set_ylabel(f"load pressure, {scenario.pressure_unit}")
    pressures.legend(loc="best", frameon=False)
    outputs.set_ylabel("output, %")
    outputs.set_xlabel("time after the step, s")
    figure.suptitle(f"{scenario.title}: the same step under different gains")
    return figure


def _series(count: int) -> list[tuple[str, object]]:
    order = np.arange(count)[::-1] % len(SERIES)
    return [SERIES[-1 - k] for k in order]


def _gains_label(trial: Trial) -> str:
    gains = trial.gains
    text = f"{trial.name}: kc {gains.kp:.3g}"
    if gains.ki_per_s:
        text += f", ti {gains.ti_s:.3g} s"
    if gains.kd_s:
        text += f", td {gains.td_s:.3g} s"
    return text
