"""The capacity that a stroke needs, by inverting the simulation."""

import math
from dataclasses import replace
from functools import cache

from scipy.optimize import brentq

from host_sim.plant.settings import ChainPlant, DirectPlant, Restriction
from host_sim.size.elements import WIDE, widened
from host_sim.size.quick import quick_conductance
from host_sim.size.stroke import PATIENCE, Stroke, lowest_source_pa, run_stroke

MOST_QUICK = 30.0
"""A conductance so many times the quick formula's counts as any.

Where a tube follows, `WIDE` times the tube's does: beyond, a stroke gains less
than a per cent.
"""
LEAST_QUICK = 1e-3
"""Below this share of the quick formula's the valve's own path is not needed."""
CLOSENESS = 1e-4
"""Relative accuracy of the conductance."""


class ImpossibleError(ValueError):
    """A stroke that no capacity brings about in the wanted time.

    Parameters
    ----------
    cause : str
        "supply pressure", "atmosphere", the name of an element, or the names of
        all where none alone is to blame.
    best_s : float
        Time with any capacity [s].
    without_s : float
        Time if the cause, too, were out of the way [s].
    """

    def __init__(self, cause: str, best_s: float, without_s: float) -> None:
        super().__init__(cause, best_s, without_s)
        self.cause = cause
        self.best_s = best_s
        self.without_s = without_s


def needed_path(stroke: Stroke) -> Restriction:
    """Find the path with which a stroke takes the wanted time.

    The root of ``log(t(C) / t_wanted)``, where ``t`` is the simulated time; b
    and m are those of the stroke's own path.

    Parameters
    ----------
    stroke : Stroke

    Returns
    -------
    Restriction
        With a conductance of 0 where bleed and consumption do it alone.

    Raises
    ------
    ImpossibleError
        No capacity is enough.
    InputError
        The plant is too stiff to be simulated.

    Notes
    -----
    Source: Brent's method of `scipy`.
    """
    _check_pressures(stroke)

    # The root finder asks again for the ends of its bracket.
    @cache
    def lateness(log_conductance: float) -> float:
        trace = run_stroke(stroke.with_conductance(math.exp(log_conductance)))
        return math.log(min(trace.reached_s / stroke.wanted_s, PATIENCE))

    quick, ceiling = quick_conductance(stroke), _ceiling(stroke)
    low = high = math.log(min(quick, ceiling))
    while lateness(high) > 0.0:
        if high >= math.log(ceiling):
            raise _why(stroke.with_conductance(ceiling))
        low, high = high, min(high + math.log(2.0), math.log(ceiling))
    while low == high or lateness(low) <= 0.0:
        if low < math.log(LEAST_QUICK * quick):
            return replace(stroke.path, conductance_m3_s_pa=0.0)
        low, high = low - math.log(2.0), low
    root = brentq(lateness, low, high, xtol=CLOSENESS)
    return replace(stroke.path, conductance_m3_s_pa=math.exp(root))


def _ceiling(stroke: Stroke) -> float:
    """Find the conductance that counts as any [m3/(s Pa)]."""
    plant = stroke.plant
    if isinstance(plant, ChainPlant):
        # An outlet larger than the load must be filled as well.
        larger = max(plant.outlet.volume_m3 / plant.load.volume_m3, 1.0)
        return WIDE * plant.tube.conductance_m3_s_pa * larger
    ceiling = MOST_QUICK * (quick_conductance(stroke) + _drawn_conductance(plant))
    if plant.supply.line is not None:
        ceiling = max(ceiling, WIDE * plant.supply.line.conductance_m3_s_pa)
    return ceiling


def _drawn_conductance(plant: DirectPlant) -> float:
    """Find the C that feeds bleed and consumption alone [m3/(s Pa)]."""
    drawn_kg_s = sum(flow for _, flow in plant.consumption.changes)
    unit_kg_s = plant.air.reference_density_kg_m3 * plant.supply.pressure_pa
    bleed = plant.bleed.conductance_m3_s_pa if plant.bleed else 0.0
    return bleed + drawn_kg_s / unit_kg_s


def _check_pressures(stroke: Stroke) -> None:
    plant = stroke.plant
    if stroke.kind == "fill" and stroke.target_pa >= lowest_source_pa(plant.supply):
        raise ImpossibleError("supply pressure", math.inf, math.inf)
    if stroke.kind == "vent" and stroke.target_pa <= plant.air.atmosphere_pa:
        raise ImpossibleError("atmosphere", math.inf, math.inf)


def _why(widest: Stroke) -> ImpossibleError:
    """Name the element without which a wide valve would be quickest."""
    best_s = run_stroke(widest).reached_s
    found = [
        (run_stroke(without).reached_s, name)
        for name, _, without in widened(widest)
        if name not in {"inlet", "exhaust"}
    ]
    if not found:
        cause = "supply pressure" if widest.kind == "fill" else "atmosphere"
        return ImpossibleError(cause, best_s, best_s)
    without_s, cause = min(found)
    if without_s >= best_s:
        cause = " and the ".join(name for _, name in found)
    return ImpossibleError(cause, best_s, without_s)
