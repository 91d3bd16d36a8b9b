"""Why the simulation asks for another capacity than the quick formula."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from host_sim.plant.settings import ChainPlant, Consumption, DirectPlant, DirectValve
from host_sim.size.elements import prompt_plant
from host_sim.size.quick import quick_conductance
from host_sim.size.requirement import needed_path
from host_sim.size.stroke import Stroke


@dataclass(frozen=True)
class Reason:
    """One simplification of the quick formula, undone.

    ``conductance_m3_s_pa`` is what is needed with this reason and all before
    it taken into account.
    """

    words: str
    conductance_m3_s_pa: float


def reasons(stroke: Stroke, needed_m3_s_pa: float) -> tuple[Reason, ...]:
    """Go from the quick formula to the full simulation, step by step.

    Parameters
    ----------
    stroke : Stroke
        The whole.
    needed_m3_s_pa : float
        What `needed_path` found for it [m3/(s Pa)].

    Returns
    -------
    tuple of Reason
        The quick formula first, the full simulation last.

    Raises
    ------
    ImpossibleError
        A step that no capacity can take, though the whole could.
    """
    steps = list(_steps(stroke))
    told = [Reason("quick formula, choked throughout", quick_conductance(stroke))]
    for words, simpler in steps[:-1]:
        told.append(Reason(words, needed_path(simpler).conductance_m3_s_pa))
    told.append(Reason(steps[-1][0], needed_m3_s_pa))
    return tuple(told)


def _steps(stroke: Stroke) -> Iterator[tuple[str, Stroke]]:
    """Put one reason after another back into the simplest plant."""
    plant = stroke.plant
    load = plant.load
    bare = replace(load, thermal="isothermal")
    supply = replace(plant.supply, line=None, volume=None)
    valve = DirectValve(stroke.path, stroke.path)
    now = DirectPlant(valve, bare, supply, air=plant.air)
    yield "flow below choking counted", replace(stroke, plant=now)
    if load.thermal != "isothermal":
        now = replace(now, load=load)
        yield "temperature of the load's air", replace(stroke, plant=now)
    bleed = plant.load_bleed if isinstance(plant, ChainPlant) else plant.bleed
    if bleed or plant.consumption != Consumption():
        now = replace(now, bleed=bleed, consumption=plant.consumption)
        yield "consumption and bleed of the load", replace(stroke, plant=now)
    if stroke.kind == "fill" and plant.supply.line:
        now = replace(now, supply=plant.supply)
        yield "droop of the supply behind its line", replace(stroke, plant=now)
    if isinstance(plant, ChainPlant):
        prompt = replace(stroke, plant=prompt_plant(plant))
        yield "tube and outlet volume", prompt
    if prompt_plant(plant) != plant:
        name = "lag and play of the valve"
        if isinstance(plant, ChainPlant):
            name = "pressure and lag of the pilot stage"
        yield name, stroke
