"""What stands in the air's way, and how much time each part of it costs."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from host_sim.plant.settings import (
    ChainPlant,
    DirectPlant,
    PilotLag,
    Restriction,
)
from host_sim.size.stroke import Arrangement, Stroke, run_stroke

WIDE = 10.0
"""How many times a path is widened to take it out of the way.

Resistances in a row add by squares, so a hundredth of it stays; an infinite one
could not be simulated in a bearable number of steps.
"""


@dataclass(frozen=True)
class Element:
    """A part of the air's way, and the stroke's time without it.

    ``conductance_m3_s_pa`` is ``None`` for what is no restriction.
    """

    name: str
    conductance_m3_s_pa: float | None
    without_s: float


def widened(stroke: Stroke) -> Iterator[tuple[str, float | None, Stroke]]:
    """Take each element of a stroke out of the way, one at a time.

    Parameters
    ----------
    stroke : Stroke

    Yields
    ------
    tuple
        Name, conductance [m3/(s Pa)] or ``None``, and the stroke without it:
        the supply's pressure right at the valve, a path `WIDE` times as wide,
        a pilot or valve that acts at once.
    """
    plant, kind = stroke.plant, stroke.kind
    line = plant.supply.line
    if kind == "fill" and line is not None:
        supply = replace(plant.supply, line=None, volume=None)
        without = replace(plant, supply=supply)
        yield "supply line", line.conductance_m3_s_pa, replace(stroke, plant=without)
    own = stroke.path.conductance_m3_s_pa
    name = "inlet" if kind == "fill" else "exhaust"
    yield name, own, stroke.with_conductance(WIDE * own)
    if isinstance(plant, ChainPlant):
        tube = plant.tube.conductance_m3_s_pa
        wide = replace(plant, tube=_wide(plant.tube))
        yield "tube", tube, replace(stroke, plant=wide)
    if (prompt := prompt_plant(plant)) != plant:
        name = "valve's lag" if isinstance(plant, DirectPlant) else "pilot stage"
        yield name, None, replace(stroke, plant=prompt)


def prompt_plant(plant: Arrangement) -> Arrangement:
    """Make the same plant with a pilot and a valve that act at once.

    The pilot asks for the supply's pressure or for the atmosphere's.
    """
    if isinstance(plant, DirectPlant):
        return replace(plant, valve=replace(plant.valve, lag_s=0.0, hysteresis=0.0))
    pilot = PilotLag(
        plant.air.atmosphere_pa,
        plant.supply.pressure_pa,
        0.0,
        plant.load.start_pressure_pa,
    )
    booster = replace(plant.booster, lag_s=0.0, hysteresis=0.0, dead_band=0.0)
    return replace(plant, pilot=pilot, booster=booster)


def elements(stroke: Stroke) -> tuple[Element, ...]:
    """Find what limits a stroke's time.

    Parameters
    ----------
    stroke : Stroke

    Returns
    -------
    tuple of Element
        The one without which the stroke is quickest comes first.
    """
    found = [
        Element(name, conductance, run_stroke(without).reached_s)
        for name, conductance, without in widened(stroke)
    ]
    return tuple(sorted(found, key=lambda element: element.without_s))


def _wide(path: Restriction) -> Restriction:
    return replace(path, conductance_m3_s_pa=WIDE * path.conductance_m3_s_pa)
