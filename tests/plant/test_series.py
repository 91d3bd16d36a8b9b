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
IDEAL = Channel(0.0, 1e6, bits=None)

paths = st.builds(
    Restriction, st.floats(0.3e-8, 3e-8), st.floats(0.15, 0.5), st.just(0.5)
)


def flow_of(path, up_pa, down_pa):
    """Mass flow at the reference temperature [kg/s]."""
    beyond = max(down_pa / up_pa - path.critical_ratio, 0.0)
    share = math.sqrt(1.0 - (beyond / (1.0 - path.critical_ratio)) ** 2)
    return path.conductance_m3_s_pa * AIR.reference_density_kg_m3 * up_pa * share


def pressures_between(chain, flow_kg_s, source_pa):
    """Pressures behind all but the last restriction, 0 once one is choked."""
    found = []
    for path in chain[:-1]:
        choked_pa = path.critical_ratio * source_pa
        if source_pa == 0.0 or flow_of(path, source_pa, choked_pa) < flow_kg_s:
            source_pa = 0.0
        else:
            source_pa = brentq(
                lambda down_pa, path=path, up_pa=source_pa: (
                    flow_of(path, up_pa, down_pa) - flow_kg_s
                ),
                choked_pa,
                source_pa,
                xtol=1e-9,
                rtol=1e-14,
            )
        found.append(source_pa)
    return found


def exact_chain(chain, source_pa, sink_pa):
    """Flow through all [kg/s], and the pressures between them [Pa]."""

    def excess(flow_kg_s):
        last_pa = pressures_between(chain, flow_kg_s, source_pa)[-1]
        if last_pa <= sink_pa:
            return -flow_kg_s
        return flow_of(chain[-1], last_pa, sink_pa) - flow_kg_s

    most = min(flow_of(path, source_pa, 0.0) for path in chain)
    flow_kg_s = brentq(excess, 0.0, most, xtol=1e-20, rtol=1e-14)
    return flow_kg_s, pressures_between(chain, flow_kg_s, source_pa)


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


@given(paths, paths, paths)
@settings(max_examples=15)
def test_line_valve_and_bleed_settle_as_the_exact_chain(line, fill, bleed):
    supply = Supply(SOURCE_PA, line=line, volume=Volume(1e-4, SOURCE_PA))
    load = Volume(2e-4, ATMOSPHERE_PA)
    plant = at_rest(DirectPlant(DirectValve(fill, fill), load, supply, bleed), 0.5)
    flow, between_pa = exact_chain([line, fill, bleed], SOURCE_PA, ATMOSPHERE_PA)
    found = plant.pressures_pa()
    assert [found.supply, found.load] == pytest.approx(between_pa, rel=1e-7)
    assert flow_through(plant) == pytest.approx(flow, rel=1e-7)


@given(paths, paths, paths, paths)
@settings(max_examples=10)
def test_line_booster_tube_and_bleed_settle_as_the_exact_chain(line, fill, tube, bleed):
    plant = ChainPlant(
        Supply(SOURCE_PA, line=line, volume=Volume(1e-4, SOURCE_PA)),
        PilotLag(ATMOSPHERE_PA, 2 * SOURCE_PA, 0.0, ATMOSPHERE_PA),
        Booster(100.0, fill, fill),
        Volume(1e-4, ATMOSPHERE_PA),
        tube,
        Volume(2e-4, ATMOSPHERE_PA),
        bleed,
    )
    resting = at_rest(plant, 0.5)
    chain = [line, fill, tube, bleed]
    flow, between_pa = exact_chain(chain, SOURCE_PA, ATMOSPHERE_PA)
    found = resting.pressures_pa()
    assert resting.opening == 1.0
    assert [found.supply, found.outlet, found.load] == pytest.approx(
        between_pa, rel=1e-7
    )
    assert flow_through(resting) == pytest.approx(flow, rel=1e-7)


@given(paths, paths)
def test_inverse_squares_promise_too_little_within_the_closed_bound(first, second):
    flow, _ = exact_chain([first, second], SOURCE_PA, 1.0)
    squares = [path.conductance_m3_s_pa**-2 for path in (first, second)]
    rule = sum(squares) ** -0.5 * AIR.reference_density_kg_m3 * SOURCE_PA
    bound = 1.0 / math.sqrt(1.0 - first.critical_ratio / 2.0)
    assert 1.0 - 1e-9 <= flow / rule <= bound + 1e-9


@pytest.mark.parametrize(("b", "worst"), [(0.3, 1.0847), (0.5, 1.1547)])
def test_plant_passes_more_than_the_rule_where_it_is_worst(b, worst):
    """Half the ratio of 1/(2 - b) either way the rule is nearer."""
    first = Restriction(1e-8, b)
    middle_pa = SOURCE_PA / (2.0 - b)
    choked = flow_of(first, SOURCE_PA, middle_pa) / middle_pa
    worst_c = choked / AIR.reference_density_kg_m3
    shares = []
    for factor in (0.5, 1.0, 2.0):
        second = Restriction(factor * worst_c, b)
        supply = Supply(SOURCE_PA, line=first, volume=Volume(1e-4, SOURCE_PA))
        valve, load = DirectValve(second, second), Volume(1.0, ATMOSPHERE_PA)
        plant = at_rest(DirectPlant(valve, load, supply), 0.3)
        rule = math.hypot(1.0, 1.0 / (factor * worst_c * 1e8)) ** -1 * 1e-8
        drawn = plant.air_used_kg
        plant.advance(1.0)
        flow = (plant.air_used_kg - drawn) / plant.tick_s
        shares.append(flow / (rule * AIR.reference_density_kg_m3 * SOURCE_PA))
    assert shares[1] == pytest.approx(worst, abs=6e-5)
    assert 1.0 < shares[0] < shares[1]
    assert 1.0 < shares[2] < shares[1]


@given(st.lists(paths, min_size=2, max_size=4), st.floats(1.5e5, 8e5))
def test_a_part_added_in_series_never_adds_flow(chain, sink_pa):
    flows = [
        exact_chain(chain[:count], SOURCE_PA, sink_pa)[0]
        for count in range(2, len(chain) + 1)
    ]
    for more, less in itertools.pairwise(flows):
        assert less < more


@given(paths, paths)
@settings(max_examples=15)
def test_parallel_paths_fill_as_the_sum_of_their_conductances(one, other):
    """ISO 6358 rule, second-hand: exact for equal b, in the plant as on paper."""
    other = replace(other, critical_ratio=one.critical_ratio)
    both = replace(
        one, conductance_m3_s_pa=one.conductance_m3_s_pa + other.conductance_m3_s_pa
    )
    sides = SOURCE_PA, 6e5
    expected = sum(flow_of(path, *sides) for path in (one, other))
    load = Volume(1.0, 6e5)
    plant = at_rest(DirectPlant(DirectValve(both, both), load, Supply(SOURCE_PA)), 0.01)
    assert plant.air_used_kg / 0.01 == pytest.approx(expected, rel=1e-3)
