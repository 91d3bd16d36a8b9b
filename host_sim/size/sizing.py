"""The whole answer to "how much flow capacity does this machine need"."""

import math
from collections.abc import Callable
from dataclasses import dataclass

from host_sim.errors import InputError
from host_sim.plant.gas import restriction_flow
from host_sim.plant.settings import Restriction
from host_sim.scenario.load import Scenario
from host_sim.scenario.refusal import refusal
from host_sim.scenario.units import format_quantity
from host_sim.size.elements import Element, elements
from host_sim.size.pressure_range import PressureRange, pick_range
from host_sim.size.reasons import Reason, reasons
from host_sim.size.requirement import ImpossibleError, needed_path
from host_sim.size.stroke import (
    PATIENCE,
    Stroke,
    lowest_source_pa,
    run_stroke,
    strokes,
    wanted_of,
)

REMEDIES = {
    "supply line": "widen supply.line, enlarge supply.volume or allow more time",
    "tube": "take a wider or shorter tube, or allow more time",
    "pilot stage": "take a quicker pilot or one that asks for more pressure, "
    "or allow more time",
    "valve's lag": "take a quicker valve or allow more time",
    "supply pressure": "raise supply.pressure or lower wanted.end",
    "atmosphere": "raise wanted.start or wanted.within",
}

REMEDY_OF_ALL = "widen or quicken what limits it, or allow more time"


@dataclass(frozen=True)
class StrokeAnswer:
    """What one stroke needs, and how sure that is.

    ``stroke`` has the needed path; ``needed_s`` and ``present_s`` are the times
    that the simulated plant takes with it and with the scenario's own path.
    ``flow_kg_s`` passes the needed path from ``stated_up_pa`` to
    ``stated_down_pa``. ``lowest_supply_pa`` is met at the valve's inlet.
    """

    stroke: Stroke
    needed_s: float
    present: Restriction
    present_s: float
    reasons: tuple[Reason, ...]
    elements: tuple[Element, ...]
    flow_kg_s: float
    stated_up_pa: float
    stated_down_pa: float
    lowest_supply_pa: float

    @property
    def needed(self) -> Restriction:
        """The needed path."""
        return self.stroke.path

    @property
    def present_is_enough(self) -> bool:
        """Tell whether the scenario's own path does it in time."""
        return self.present_s <= self.stroke.wanted_s

    @property
    def limit(self) -> Element:
        """The element that costs most of the time."""
        return self.elements[0]


@dataclass(frozen=True)
class Sizing:
    """Both strokes, the range to pick, and what was assumed.

    ``choked_to_pa`` is the load pressure up to which the filling flow is
    choked.
    """

    scenario: Scenario
    fill: StrokeAnswer
    vent: StrokeAnswer
    range: PressureRange | None
    source_pa: float
    supply_margin_pa: float
    choked_to_pa: float
    assumed: tuple[str, ...]

    @property
    def droop_pa(self) -> float:
        """Deepest fall of the valve's inlet below the source [Pa]."""
        return self.source_pa - self.fill.lowest_supply_pa


def size(
    scenario: Scenario, each_part: Callable[[str], None] = lambda name: None
) -> Sizing:
    """Find the capacity that a scenario's wanted strokes need.

    Parameters
    ----------
    scenario : Scenario
        With ``wanted``.
    each_part : callable
        Called with the name of each part before it is computed.

    Returns
    -------
    Sizing

    Raises
    ------
    InputError
        Nothing is wanted, or something that no capacity gives, with the reason.
    """
    wanted, air = wanted_of(scenario), scenario.plant.arrangement.air
    fill, vent = strokes(scenario)
    source_pa = lowest_source_pa(fill.plant.supply)
    stated_pa = max(source_pa - wanted.flow_drop_pa, air.atmosphere_pa)
    each_part("filling")
    filled = _answer(scenario, fill, (source_pa, stated_pa))
    each_part("venting")
    vented = _answer(scenario, vent, (wanted.end_pa, air.atmosphere_pa))
    return Sizing(
        scenario=scenario,
        fill=filled,
        vent=vented,
        range=pick_range(scenario),
        source_pa=source_pa,
        supply_margin_pa=source_pa - wanted.end_pa,
        choked_to_pa=fill.path.critical_ratio * source_pa,
        assumed=assumptions(scenario),
    )


def needed_or_refused(scenario: Scenario, stroke: Stroke) -> Restriction:
    """Find the needed path, or say in one line why there is none.

    Parameters
    ----------
    scenario : Scenario
        For the units of the refusal.
    stroke : Stroke

    Returns
    -------
    Restriction
        See `requirement.needed_path`.

    Raises
    ------
    InputError
        No capacity is enough: which element is the limit, and the remedy.
    """
    try:
        return needed_path(stroke)
    except ImpossibleError as error:
        raise _refusal(scenario, stroke, error) from None


def assumptions(scenario: Scenario) -> tuple[str, ...]:
    """Say what a sizing assumed, one sentence each."""
    fill, vent = strokes(scenario)
    plant, wanted = fill.plant, wanted_of(scenario)
    load = plant.load
    heat = {
        "isothermal": "stays at the wall's temperature (isothermal)",
        "polytropic": f"follows a polytrope of exponent {load.exponent:g}",
        "adiabatic": "exchanges no heat with the wall (adiabatic)",
        "wall": f"exchanges {load.wall_conductance_w_k:g} W/K with the wall",
    }
    drawn = [
        sum(flow for _, flow in stroke.plant.consumption.changes)
        for stroke in (fill, vent)
    ]
    filling, venting = (
        format_quantity(flow, "flow", "l/min ANR", scenario.basis) for flow in drawn
    )
    paths = (fill.path, vent.path)
    return (
        f"air in the load {heat[load.thermal]}",
        f"supply at its lowest, {_pressure(scenario, plant.supply.pressure_pa)}; "
        f"drawn from the load: {filling} while filling, {venting} while venting",
        "b and m as the scenario's own valve: b "
        + " and ".join(f"{path.critical_ratio:g}" for path in paths)
        + ", m "
        + " and ".join(f"{path.index:g}" for path in paths)
        + " (filling and venting)",
        f"a stroke is done when {100 * wanted.within:g} % of its change is missing; "
        "the valve is fully open and no control law takes part, so a loop needs some "
        "time more: `integer-pilot step` tells how much",
    )


def time_text(time_s: float, stroke: Stroke) -> str:
    """Write a stroke's time, or that it was not done."""
    if math.isfinite(time_s):
        return f"{time_s:.3g} s"
    return f"more than {PATIENCE * stroke.wanted_s:.3g} s"


def _answer(
    scenario: Scenario, stroke: Stroke, stated_pa: tuple[float, float]
) -> StrokeAnswer:
    needed = needed_or_refused(scenario, stroke)
    sized = stroke.with_path(needed)
    trace = run_stroke(sized)
    air = stroke.plant.air
    up_pa, down_pa = stated_pa
    return StrokeAnswer(
        stroke=sized,
        needed_s=trace.reached_s,
        present=stroke.path,
        present_s=run_stroke(stroke).reached_s,
        reasons=reasons(stroke, needed.conductance_m3_s_pa),
        elements=elements(sized),
        flow_kg_s=restriction_flow(
            needed,
            air,
            up_pa,
            air.reference_temperature_k,
            down_pa,
            air.reference_temperature_k,
        ),
        stated_up_pa=up_pa,
        stated_down_pa=down_pa,
        lowest_supply_pa=min(trace.supply_pa),
    )


def _refusal(scenario: Scenario, stroke: Stroke, error: ImpossibleError) -> InputError:
    where = f"wanted.{stroke.kind}_time"
    target = _pressure(scenario, stroke.target_pa)
    supply = _pressure(scenario, lowest_source_pa(stroke.plant.supply))
    act = "filling" if stroke.kind == "fill" else "venting"
    end = {
        "supply pressure": f"the supply's {supply} is too little for {target}",
        "atmosphere": f"{target} is too near the atmosphere",
    }.get(
        error.cause,
        f"limited by the {error.cause} ({time_text(error.without_s, stroke)} "
        "without it)",
    )
    why = (
        f"no capacity is enough: with any valve {act} to {target} takes "
        f"{time_text(error.best_s, stroke)}; {end}"
    )
    said = f"{stroke.wanted_s:g} s"
    return refusal(where, said, why, REMEDIES.get(error.cause, REMEDY_OF_ALL))


def _pressure(scenario: Scenario, pressure_pa: float) -> str:
    unit, basis = scenario.pressure_unit, scenario.basis
    return format_quantity(pressure_pa, "pressure", unit, basis)
