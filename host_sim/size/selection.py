"""Which units of a catalogue do what is wanted, and why the others do not."""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from host_sim.plant.settings import Restriction
from host_sim.scenario.load import Scenario
from host_sim.scenario.units import format_quantity, in_unit
from host_sim.size.catalogue import Catalogue, Unit
from host_sim.size.pressure_range import PressureRange, least_range, setpoints_pa
from host_sim.size.report import CONDUCTANCE, range_as_dict
from host_sim.size.sizing import needed_or_refused
from host_sim.size.stroke import (
    PATIENCE,
    Stroke,
    highest_source_pa,
    run_stroke,
    strokes,
    wanted_of,
)


@dataclass(frozen=True)
class Candidate:
    """A unit held against what is wanted.

    The times are simulated at the least capacity that the unit may have, and
    infinite where the stroke is not done in four wanted times. ``against``
    holds one line for each reason to refuse it.
    """

    unit: Unit
    fill_s: float
    vent_s: float
    margin: float
    range: PressureRange | None
    against: tuple[str, ...]

    @property
    def fits(self) -> bool:
        """Tell whether nothing speaks against it."""
        return not self.against

    @property
    def assumed(self) -> tuple[str, ...]:
        """What had to be assumed of its capacities, in words."""
        sides = (
            ("forward capacity", self.unit.fill),
            ("exhaust capacity", self.unit.exhaust),
        )
        return tuple(
            f"{side}: {capacity.assumed}"
            for side, capacity in sides
            if capacity.assumed
        )

    @property
    def resolution_pa(self) -> float:
        """One count of the law in the range to order [Pa]."""
        return math.inf if self.range is None else self.range.counts_pa


CRITERIA: dict[str, Callable[[Candidate], float]] = {
    "price": lambda candidate: candidate.unit.price,
    "margin": lambda candidate: -candidate.margin,
    "resolution": lambda candidate: candidate.resolution_pa,
}
"""What to order by; the best has the lowest number."""


@dataclass(frozen=True)
class Selection:
    """A catalogue held against a scenario.

    ``fitting`` is in the order of ``by``, then of price; ``refused`` in the
    catalogue's order. ``fill`` and ``exhaust`` are the paths that are needed.
    """

    scenario: Scenario
    catalogue: Catalogue
    by: str
    fill: Restriction
    exhaust: Restriction
    fitting: tuple[Candidate, ...]
    refused: tuple[Candidate, ...]


def select(
    scenario: Scenario,
    catalogue: Catalogue,
    by: str,
    each_unit: Callable[[str], None] = lambda name: None,
) -> Selection:
    """Hold every unit of a catalogue against what a scenario wants.

    Parameters
    ----------
    scenario : Scenario
        With ``wanted``.
    catalogue : Catalogue
    by : str
        A key of `CRITERIA`.
    each_unit : callable
        Called with each unit's name before it is simulated.

    Returns
    -------
    Selection

    Raises
    ------
    InputError
        Nothing is wanted, or something that no capacity gives.
    """
    both = strokes(scenario)
    fill, exhaust = (needed_or_refused(scenario, stroke) for stroke in both)
    held = []
    for unit in catalogue.units:
        each_unit(unit.name)
        held.append(_hold(scenario, unit, both, (fill, exhaust)))
    fitting = [candidate for candidate in held if candidate.fits]
    fitting.sort(key=lambda one: (CRITERIA[by](one), one.unit.price))
    return Selection(
        scenario,
        catalogue,
        by,
        fill,
        exhaust,
        tuple(fitting),
        tuple(candidate for candidate in held if not candidate.fits),
    )


def _hold(
    scenario: Scenario,
    unit: Unit,
    both: tuple[Stroke, Stroke],
    needed: tuple[Restriction, Restriction],
) -> Candidate:
    paths = unit.fill.least, unit.exhaust.least
    times_s = fill_s, vent_s = [
        run_stroke(stroke.with_path(path)).reached_s
        for stroke, path in zip(both, paths, strict=True)
    ]
    reasons = [
        _slowness(stroke, path, time_s, enough)
        for stroke, path, time_s, enough in zip(
            both, paths, times_s, needed, strict=True
        )
        if time_s > stroke.wanted_s
    ]
    margins = [
        stroke.wanted_s / time_s - 1.0
        for stroke, time_s in zip(both, times_s, strict=True)
    ]
    picked = least_range(scenario, unit.ranges_pa)
    return Candidate(
        unit,
        fill_s,
        vent_s,
        margin=min(margins),
        range=picked,
        against=(*reasons, *_unfit(scenario, unit, ranged=picked is not None)),
    )


def _slowness(
    stroke: Stroke, path: Restriction, time_s: float, needed: Restriction
) -> str:
    side, act = ("forward", "fills") if stroke.kind == "fill" else ("exhaust", "vents")
    taken = f"{act} in {time_s:.3g} s"
    if math.isinf(time_s):
        taken = f"{act} not even in {PATIENCE * stroke.wanted_s:.3g} s"
    has, asked = (
        format_quantity(one.conductance_m3_s_pa, "conductance", CONDUCTANCE, digits=3)
        for one in (path, needed)
    )
    return (
        f"{side} capacity: {taken}, wanted {stroke.wanted_s:g} s "
        f"(at least {has} b {path.critical_ratio:g}; "
        f"needed {asked} b {needed.critical_ratio:g})"
    )


def _unfit(scenario: Scenario, unit: Unit, *, ranged: bool) -> Iterator[str]:
    """Name what speaks against a unit beside its capacity."""
    wanted = wanted_of(scenario)

    def pressure(pressure_pa: float) -> str:
        unit_name, basis = scenario.pressure_unit, scenario.basis
        return format_quantity(pressure_pa, "pressure", unit_name, basis)

    if not ranged:
        low, high = (pressure(setpoint) for setpoint in setpoints_pa(scenario))
        offered = " or ".join(
            f"{pressure(one)} ... {pressure(other)}" for one, other in unit.ranges_pa
        )
        yield f"range: {offered} does not hold the set points {low} ... {high}"
    highest_pa = highest_source_pa(scenario.plant.arrangement.supply)
    if highest_pa > unit.supply_limit_pa:
        stands, met = pressure(unit.supply_limit_pa), pressure(highest_pa)
        yield f"supply limit: stands {stands}, the supply is {met} at its highest"
    low_k, high_k = unit.temperature_k
    if low_k > wanted.temperature_low_k or high_k < wanted.temperature_high_k:
        yield (
            f"temperature: {unit.seal} seals for {_celsius(low_k)} ... "
            f"{_celsius(high_k)}, wanted {_celsius(wanted.temperature_low_k)} ... "
            f"{_celsius(wanted.temperature_high_k)}"
        )
    if wanted.medium not in unit.media:
        media = " or ".join(unit.media)
        yield f"medium: {unit.seal} seals for {media}, wanted {wanted.medium}"
    if wanted.port and _plain(wanted.port) not in map(_plain, unit.ports):
        yield f"port: {' or '.join(unit.ports)}, wanted {wanted.port}"


def _celsius(temperature_k: float) -> str:
    return format_quantity(temperature_k, "temperature", "degC")


def _plain(port: str) -> str:
    """Reduce a thread to what matters: "g1/4" is "G 1/4"."""
    return "".join(port.split()).upper()


def selection_as_dict(selection: Selection) -> dict[str, Any]:
    """Turn a selection into what ``--json`` prints, in absolute Pa."""
    return {
        "title": selection.scenario.title,
        "by": selection.by,
        "currency": selection.catalogue.currency,
        "needed_forward_dm3_s_bar": _shown(selection.fill),
        "needed_exhaust_dm3_s_bar": _shown(selection.exhaust),
        "fitting": [_candidate_as_dict(one) for one in selection.fitting],
        "refused": [
            {**_candidate_as_dict(one), "against": one.against}
            for one in selection.refused
        ],
        "left_out": selection.catalogue.unreadable,
    }


def _candidate_as_dict(candidate: Candidate) -> dict[str, Any]:
    unit = candidate.unit
    return {
        "row": unit.row,
        "name": unit.name,
        "price": unit.price,
        "fill_s": candidate.fill_s,
        "vent_s": candidate.vent_s,
        "margin_percent": 100.0 * candidate.margin,
        "forward_at_least_dm3_s_bar": _shown(unit.fill.least),
        "exhaust_at_least_dm3_s_bar": _shown(unit.exhaust.least),
        "range": None if candidate.range is None else range_as_dict(candidate.range),
        "assumed": candidate.assumed,
    }


def _shown(path: Restriction) -> float:
    return in_unit(path.conductance_m3_s_pa, "conductance", CONDUCTANCE)
