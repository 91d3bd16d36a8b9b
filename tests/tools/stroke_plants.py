"""Invented plants at rest that must fill or vent in a wanted time."""

import math
from dataclasses import replace

from hypothesis import strategies as st

from host_sim.plant.plant import Plant
from host_sim.plant.settings import (
    Booster,
    ChainPlant,
    Channel,
    DirectPlant,
    DirectValve,
    PilotLag,
    PlantSettings,
    Restriction,
    Sensing,
    Supply,
    Volume,
)
from host_sim.size.quick import quick_conductance
from host_sim.size.stroke import Stroke, at_rest

ATMOSPHERE_PA = 101_325.0
DM3_S_BAR = 1e-8
LOOKING = Sensing(Channel(0.0, 1e7, bits=None), Channel(0.0, 1e7, bits=None))
FINE = 300
"""Ticks in the wanted time: three times those of sizing itself."""


def conductance(number):
    return Restriction(number * DM3_S_BAR)


def load_volume(litres, thermal):
    # About 1 W/K for each litre: a bag's wall at moderate motion of its air.
    return Volume(
        litres * 1e-3, ATMOSPHERE_PA, thermal, wall_conductance_w_k=1.0 * litres
    )


def direct(load, supply_pa, lag_s=0.02, line=None):
    """One valve; its conductances are only a start for sizing."""
    valve = DirectValve(conductance(1.0), conductance(1.0), lag_s)
    supply = Supply(supply_pa)
    if line is not None:
        supply = Supply(supply_pa, line=line, volume=Volume(20e-3, supply_pa))
    return DirectPlant(valve, load, supply)


def chain(load, supply_pa, tube, line):
    """Pilot, booster, tube; the pilot asks for the whole supply."""
    return ChainPlant(
        supply=Supply(supply_pa, line=line, volume=Volume(20e-3, supply_pa)),
        pilot=PilotLag(ATMOSPHERE_PA, supply_pa, 0.05, ATMOSPHERE_PA),
        booster=Booster(2e4, conductance(1.0), conductance(1.0), 0.02, 0.01),
        outlet=Volume(load.volume_m3 / 8.0, ATMOSPHERE_PA),
        tube=tube,
        load=load,
    )


@st.composite
def strokes_of(draw, arrangement, thermal):
    """Draw a stroke and a time that some ordinary valve could keep.

    The quick formula with a drawn C gives the time; tube and line are wider
    than that C, and lags short beside the time.
    """
    kind = draw(st.sampled_from(["fill", "vent"]))
    litres, c = draw(st.floats(2.0, 40.0)), draw(st.floats(0.5, 4.0))
    supply_pa = draw(st.floats(5e5, 11e5))
    top_pa = draw(st.floats(0.4, 0.8)) * supply_pa
    bottom_pa = ATMOSPHERE_PA + draw(st.floats(0.05, 0.5)) * (top_pa - ATMOSPHERE_PA)
    load = load_volume(litres, thermal)
    paths = [conductance(c * draw(st.floats(2.5, 8.0))) for _ in range(2)]
    if arrangement == "direct":
        plant = direct(load, supply_pa, line=paths[0])
    else:
        plant = chain(load, supply_pa, *paths)
    start_pa, end_pa = (bottom_pa, top_pa) if kind == "fill" else (top_pa, bottom_pa)
    stroke = Stroke(kind, at_rest(plant, start_pa, 0.0), start_pa, end_pa, 1.0)
    time_s = quick_conductance(stroke) / (c * DM3_S_BAR)
    return replace(stroke, wanted_s=max(time_s, 0.3))


def judged_time_s(stroke):
    """Time of a stroke by the plant itself, on fine ticks, apart from sizing."""
    plant = Plant(PlantSettings(stroke.plant, sensing=LOOKING), stroke.wanted_s / FINE)
    drive = 1.0 if stroke.kind == "fill" else -1.0
    before_pa = plant.pressures_pa().load
    while plant.time_s < 3.0 * stroke.wanted_s:
        plant.advance(drive)
        now_pa = plant.pressures_pa().load
        if drive * now_pa >= drive * stroke.target_pa:
            share = (stroke.target_pa - before_pa) / (now_pa - before_pa)
            return plant.time_s - (1.0 - share) * plant.tick_s
        before_pa = now_pa
    return math.inf
