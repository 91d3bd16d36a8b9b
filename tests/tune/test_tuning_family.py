"""The family: within its spreads, the scenario's own machine first, by its seed."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tuning_bag import bag, press
from tuning_checks import check_spreads

from host_sim.scenario.tuning import Family
from host_sim.tune.corners import LEVELS, small_loops
from host_sim.tune.family import make_corners, make_family

SPREAD = st.floats(0.01, 0.6)


@pytest.fixture(scope="module")
def scenarios(tmp_path_factory):
    folder = tmp_path_factory.mktemp("family")
    return press(folder), bag(folder)


FAMILIES = st.builds(
    Family,
    members=st.integers(2, 9),
    seed=st.integers(0, 1_000_000),
    supply=SPREAD,
    load_volume=SPREAD,
    sensor_lag=SPREAD,
    hysteresis=SPREAD,
    temperature_low_k=st.floats(250.0, 290.0),
    temperature_high_k=st.floats(291.0, 340.0),
)


@given(family=FAMILIES, which=st.integers(0, 1))
def test_family_members_stay_within_the_stated_spreads(family, which, scenarios):
    scenario = replace(scenarios[which], family=family)
    members = make_family(scenario)
    assert len(members) == family.members
    assert members[0].scenario is scenario
    assert members[0].differs == {}
    assert len({member.name for member in members}) == len(members)
    check_spreads(scenario, members)
    check_spreads(scenario, make_corners(scenario))
    for member in members:
        assert member.scenario.law == scenario.law
        assert member.scenario.profile == scenario.profile


@given(family=FAMILIES)
def test_family_same_seed_draws_the_same_and_another_seed_others(family, scenarios):
    scenario = replace(scenarios[0], family=family)
    other = replace(scenario, family=replace(family, seed=family.seed + 1))
    again, others = make_family(scenario), make_family(other)
    assert make_family(scenario) == again
    for member, stranger in zip(again[1:], others[1:], strict=True):
        assert member.differs != stranger.differs
    seeds = [member.scenario.plant.sensing.seed for member in again]
    assert len(set(seeds)) == len(seeds)


def test_family_fills_every_spread_evenly(scenarios):
    """A quarter of the machines in each quarter of each spread, of 128 within 4."""
    family = replace(scenarios[0].family, members=129)
    members = make_family(replace(scenarios[0], family=family))[1:]
    ends = {"supply": 0.1, "load volume": 0.25, "sensor lag": 0.5, "hysteresis": 0.5}
    shares = {
        what: [(member.differs[what] / end + 1.0) / 2.0 for member in members]
        for what, end in ends.items()
    }
    shares["temperature"] = [
        (member.differs["temperature"] - 278.15) / 40.0 for member in members
    ]
    for what, drawn in shares.items():
        for quarter in range(4):
            count = sum(quarter <= 4 * share < quarter + 1 for share in drawn)
            assert abs(count - 32) <= 4, (what, quarter, count)


def test_family_varies_nothing_that_a_machine_has_not(scenarios):
    """The bag's valve has no play."""
    _, member, *_ = make_family(scenarios[1])
    assert set(member.differs) == {
        "supply",
        "load volume",
        "sensor lag",
        "temperature",
    }


def test_family_corners_are_every_end_of_every_spread(scenarios):
    corners = make_corners(scenarios[0])
    ends = {
        tuple(corner.differs[what] for what in ("supply", "load volume", "sensor lag"))
        for corner in corners
    }
    assert ends == {
        (supply, volume, lag)
        for supply in (-0.1, 0.1)
        for volume in (-0.25, 0.25)
        for lag in (-0.5, 0.5)
    }
    assert {corner.differs["hysteresis"] for corner in corners} == {0.5}
    for corner in corners:
        hot = corner.differs["supply"] > 0.0
        assert corner.differs["temperature"] == pytest.approx(318.15 if hot else 278.15)


def test_family_loops_are_the_machine_and_its_corners_at_every_level(scenarios):
    scenario = scenarios[1]
    names = {loop.name for loop in small_loops(scenario)}
    machines = ["the scenario's own machine"]
    machines += [corner.in_words() for corner in make_corners(scenario)]
    for machine in machines:
        levels = {name.split(", at ")[-1] for name in names if machine in name}
        assert len(levels) >= len(LEVELS)
