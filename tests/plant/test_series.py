"""Restrictions in series: the plant at rest against the exact chain.

Exact: the flow of ISO 6358-1 (second-hand), written down again here, through one
restriction after another, solved by scipy: parts in 1e7, what the plant's last
approach to rest leaves.
Rule of thumb: ``1/C**2`` adds up (ISO 6358-3 is said to give the exact chain;
second-hand). In closed form from the ellipse the rule never promises too much,
and too little by at most ``1/sqrt(1 - b/2)``, b of the first restriction: 8.5 % for
b = 0.3. It is worst where the pressure between them is 1/(2 - b) of the first.
"""

import itertools
import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from host_sim.plant.gas import orifice_restriction
from host_sim.plant.plant import Plant
from host_sim.plant.settings import (
    Air,
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

AIR = Air()
SOURCE_PA, ATMOSPHERE_PA = 9e5, AIR.atmosphere_pa
PSI_PA = 6894.757293168361
IDEAL = Channel(0.0, 1e6, bits=None)


def flow_of(path, up_pa, down_pa):
    """Mass flow at the reference temperature [kg/s]."""
    beyond = max(down_pa / up_pa - path.critical_ratio, 0.0)
    share = math.sqrt(1.0 - (beyond / (1.0 - path.critical_ratio)) ** 2)
    return path.conductance_m3_s_pa * AIR.reference_density_kg_m3 * up_pa * share


def upstream_pa(path, flow_kg_s, down_pa):
    """Pressure that drives a flow through a path."""
    choking_pa = down_pa / path.critical_ratio
    if flow_kg_s >= flow_of(path, choking_pa, down_pa):
        return flow_kg_s / flow_of(path, 1.0, 0.0)
    return brentq(
        lambda up_pa: flow_of(path, up_pa, down_pa) - flow_kg_s,
        down_pa,
        choking_pa,
        xtol=1e-9,
        rtol=1e-14,
    )


def pressures_along(chain, flow_kg_s, sink_pa):
    """Pressures before each restriction, the last one's first."""
    return itertools.accumulate(
        reversed(chain),
        lambda down_pa, path: upstream_pa(path, flow_kg_s, down_pa),
        initial=sink_pa,
    )


def exact_chain(chain, source_pa, sink_pa):
    """Flow through all [kg/s], and the pressures between them [Pa]."""

    def excess(flow_kg_s):
        *_, needed_pa = pressures_along(chain, flow_kg_s, sink_pa)
        return needed_pa - source_pa

    most = min(flow_of(path, source_pa, 0.0) for path in chain)
    flow_kg_s = brentq(excess, 1e-9 * most, most, xtol=1e-20, rtol=1e-14)
    _, *between_pa, _ = pressures_along(chain, flow_kg_s, sink_pa)
    return flow_kg_s, between_pa[::-1]


def at_rest(arrangement, seconds):
    plant = Plant(PlantSettings(arrangement, sensing=Sensing(IDEAL, IDEAL)), 0.01)
    for _ in range(round(seconds / 0.01)):
        plant.advance(1.0)
    return plant


def flow_through(plant):
    """Air released in one tick [kg/s]."""
    before_kg = plant.mass_balance().released_kg
    plant.advance(1.0)
    return (plant.mass_balance().released_kg - before_kg) / plant.tick_s


def paths_of(*sizes):
    """Paths of a size in dm3/(s bar), each with another critical ratio."""
    return [
        Restriction(size * 1e-8, b)
        for size, b in zip(sizes, (0.3, 0.2, 0.35, 0.5)[: len(sizes)], strict=True)
    ]


@pytest.mark.parametrize("sizes", [(1, 1, 1), (3, 1, 2), (1, 3, 0.5), (0.5, 2, 3)])
def test_line_valve_and_bleed_settle_as_the_exact_chain(sizes):
    chain = paths_of(*sizes)
    line, fill, bleed = chain
    supply = Supply(SOURCE_PA, line=line, volume=Volume(1e-4, SOURCE_PA))
    load = Volume(1e-4, ATMOSPHERE_PA)
    plant = at_rest(DirectPlant(DirectValve(fill, fill), load, supply, bleed), 4.0)
    flow, between_pa = exact_chain(chain, SOURCE_PA, ATMOSPHERE_PA)
    found = plant.pressures_pa()
    assert [found.supply, found.load] == pytest.approx(between_pa, rel=1e-7)
    assert flow_through(plant) == pytest.approx(flow, rel=1e-7)


@pytest.mark.parametrize("sizes", [(1, 1, 1, 1), (3, 1, 2, 2), (2, 0.5, 2, 0.5)])
def test_line_booster_tube_and_bleed_settle_as_the_exact_chain(sizes):
    chain = paths_of(*sizes)
    line, fill, tube, bleed = chain
    plant = ChainPlant(
        Supply(SOURCE_PA, line=line, volume=Volume(1e-4, SOURCE_PA)),
        PilotLag(ATMOSPHERE_PA, 2 * SOURCE_PA, 0.0, ATMOSPHERE_PA),
        Booster(5e3, fill, fill, lag_s=0.02),
        Volume(1e-4, ATMOSPHERE_PA),
        tube,
        Volume(1e-4, ATMOSPHERE_PA),
        bleed,
    )
    resting = at_rest(plant, 4.0)
    flow, between_pa = exact_chain(chain, SOURCE_PA, ATMOSPHERE_PA)
    found = resting.pressures_pa()
    assert resting.opening == pytest.approx(1.0, abs=1e-12)
    assert [found.supply, found.outlet, found.load] == pytest.approx(
        between_pa, rel=1e-7
    )
    assert flow_through(resting) == pytest.approx(flow, rel=1e-7)


def share_of_rule(first, second):
    """Flow of two paths, the second choked, over that of the rule."""
    supply = Supply(SOURCE_PA, line=first, volume=Volume(2e-5, SOURCE_PA))
    load = Volume(10.0, ATMOSPHERE_PA)
    plant = at_rest(DirectPlant(DirectValve(second, second), load, supply), 1.5)
    drawn_kg = plant.air_used_kg
    plant.advance(1.0)
    flow_kg_s = (plant.air_used_kg - drawn_kg) / plant.tick_s
    assert plant.pressures_pa().supply > ATMOSPHERE_PA / second.critical_ratio
    squares = [path.conductance_m3_s_pa**-2 for path in (first, second)]
    return flow_kg_s / (sum(squares) ** -0.5 * AIR.reference_density_kg_m3 * SOURCE_PA)


@given(st.floats(0.15, 0.5), st.floats(0.3, 1.5))
@settings(max_examples=6)
def test_inverse_squares_promise_too_little_within_the_closed_bound(b, size):
    share = share_of_rule(Restriction(1e-8, b), Restriction(size * 1e-8, 0.4))
    assert 1.0 < share < 1.0 / math.sqrt(1.0 - b / 2.0) + 1e-6


@pytest.mark.parametrize(("b", "worst"), [(0.3, 1.08465), (0.5, 1.15470)])
def test_inverse_squares_are_worst_at_the_stated_pressure(b, worst):
    first = Restriction(1e-8, b)
    middle_pa = SOURCE_PA / (2.0 - b)
    choked_kg_s_pa = flow_of(first, SOURCE_PA, middle_pa) / middle_pa
    size = choked_kg_s_pa / AIR.reference_density_kg_m3
    narrow, same, wide = (
        share_of_rule(first, Restriction(factor * size, 0.4))
        for factor in (0.5, 1.0, 1.5)
    )
    assert same == pytest.approx(worst, abs=1e-5)
    assert 1.0 < narrow < 0.98 * same
    assert 1.0 < wide < 0.995 * same


@pytest.mark.parametrize(
    ("gap_um", "psig"),
    [
        (5, 19.6832),
        (10, 18.7664),
        (20, 15.5413),
        (30, 11.4564),
        (50, 5.4143),
        (100, 1.3888),
    ],
)
def test_restrictor_before_a_nozzle_divides_the_pressure(gap_um, psig):
    """20 psig, holes of 0.25 mm and 0.6 mm, the second shut by a flapper's gap.

    Closed form with Cd = 0.8, the curtain ``pi D gap`` and b = 0.5.
    """
    restrictor, nozzle = (
        replace(orifice_restriction(area_m2, 0.8, AIR), critical_ratio=0.5)
        for area_m2 in (math.pi / 4 * 0.25e-3**2, math.pi * 0.6e-3 * gap_um * 1e-6)
    )
    valve = DirectValve(restrictor, restrictor)
    supply = Supply(ATMOSPHERE_PA + 20 * PSI_PA)
    chamber = Volume(1e-6, ATMOSPHERE_PA)
    plant = at_rest(DirectPlant(valve, chamber, supply, nozzle), 4.0)
    found_psig = (plant.pressures_pa().load - ATMOSPHERE_PA) / PSI_PA
    assert found_psig == pytest.approx(psig, abs=6e-5)
