"""Selection: what is chosen meets the need by simulation, the rest has a reason."""

from dataclasses import replace

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from stroke_plants import DM3_S_BAR, judged_time_s

from host_sim.plant.settings import Air
from host_sim.scenario.load import load_scenario, shipped_scenario_path
from host_sim.scenario.units import Basis
from host_sim.size.capacity_text import read_capacity
from host_sim.size.catalogue import Catalogue, Unit, read_catalogue
from host_sim.size.seals import SEALS
from host_sim.size.selection import select
from host_sim.size.stroke import strokes

CATALOGUE = shipped_scenario_path().with_name("catalogue.csv")
GAUGE_PA = 101_325.0
MANY = settings().max_examples >= 150


@pytest.fixture(scope="module")
def bag():
    """One bag, one valve: quick to simulate."""
    bag = load_scenario(shipped_scenario_path("press_bag_recorded.toml"))
    wanted = load_scenario(shipped_scenario_path()).wanted
    return replace(bag, wanted=replace(wanted, fill_time_s=1.0, vent_time_s=2.0))


@pytest.fixture(scope="module")
def shipped():
    press = load_scenario(shipped_scenario_path())
    catalogue = read_catalogue(CATALOGUE, Air(), press.basis)
    return select(press, catalogue, "price")


def unit(
    name="Ash", fill="9 dm3/(s.bar) b 0.3", exhaust="9 dm3/(s.bar) b 0.3", **other
):
    fields = {
        "row": 2,
        "name": name,
        "fill": read_capacity(fill, Air(), Basis(), "fill"),
        "exhaust": read_capacity(exhaust, Air(), Basis(), "exhaust"),
        "ports": ("G1/2",),
        "ranges_pa": ((GAUGE_PA, GAUGE_PA + 6e5),),
        "supply_limit_pa": GAUGE_PA + 10e5,
        "seal": "NBR",
        "temperature_k": SEALS["NBR"].temperature_k,
        "media": SEALS["NBR"].media,
        "price": 300.0,
    }
    return Unit(**{**fields, **other})


def chosen(scenario, *units, by="price"):
    return select(scenario, Catalogue(units, (), "EUR"), by)


def times_s(scenario, candidate, variant=1):
    """Both times by the plant itself, with one variant of the unit's capacity."""
    sides = candidate.unit.fill, candidate.unit.exhaust
    return [
        judged_time_s(stroke.with_path(side.variants[variant]))
        for stroke, side in zip(strokes(scenario), sides, strict=True)
    ]


sizes = st.floats(3.0, 15.0)
texts = st.one_of(
    sizes.map(lambda c: f"{c} dm3/(s.bar) b 0.3"),
    sizes.map(lambda c: f"{c} dm3/(s.bar)"),
    sizes.map(lambda c: f"Cv {c / 4}"),
    sizes.map(lambda c: f"{c * 260} l/min ANR at 7 bar gauge to 6 bar gauge"),
)


@settings(max_examples=40 if MANY else 6)
@given(
    capacities=st.lists(st.tuples(texts, texts), min_size=1, max_size=4),
    fill_s=st.floats(0.4, 2.0),
    vent_s=st.floats(0.6, 3.0),
    variant=st.integers(0, 2),
)
def test_whatever_fits_meets_the_need_by_simulation(
    bag, capacities, fill_s, vent_s, variant
):
    wanted = replace(bag.wanted, fill_time_s=fill_s, vent_time_s=vent_s)
    scenario = replace(bag, wanted=wanted)
    units = [
        unit(f"unit {k}", fill, exhaust) for k, (fill, exhaust) in enumerate(capacities)
    ]
    selection = chosen(scenario, *units)
    assert len(selection.fitting) + len(selection.refused) == len(units)
    for candidate in selection.fitting:
        filled_s, vented_s = times_s(scenario, candidate, variant)
        assert filled_s <= fill_s * 1.001
        assert vented_s <= vent_s * 1.001


@settings(max_examples=40 if MANY else 6)
@given(c=st.floats(2.0, 12.0), d=st.floats(2.0, 12.0))
def test_exactly_known_unit_is_refused_only_if_it_is_too_slow(bag, c, d):
    held = unit(fill=f"{c} dm3/(s.bar) b 0.3", exhaust=f"{d} dm3/(s.bar) b 0.3")
    selection = chosen(bag, held)
    (candidate,) = (*selection.fitting, *selection.refused)
    filled_s, vented_s = times_s(bag, candidate)
    assume(abs(filled_s / bag.wanted.fill_time_s - 1.0) > 1e-3)
    assume(abs(vented_s / bag.wanted.vent_time_s - 1.0) > 1e-3)
    enough = filled_s <= bag.wanted.fill_time_s and vented_s <= bag.wanted.vent_time_s
    assert candidate.fits == enough
    sides = [reason.split()[0] for reason in candidate.against]
    late = [filled_s > bag.wanted.fill_time_s, vented_s > bag.wanted.vent_time_s]
    assert sides == [
        side for side, slow in zip(("forward", "exhaust"), late, strict=True) if slow
    ]


def test_exhaust_is_held_against_its_need_like_the_forward_path(bag):
    selection = chosen(bag, unit(exhaust="4 dm3/(s.bar) b 0.3"))
    (refused,) = selection.refused
    (reason,) = refused.against
    assert reason.startswith("exhaust capacity: vents in ")
    assert f"{refused.vent_s:.3g} s, wanted 2 s" in reason
    needed = selection.exhaust.conductance_m3_s_pa / DM3_S_BAR
    assert f"needed {needed:.3g} dm3/(s.bar)" in reason


@pytest.mark.parametrize(
    ("other", "told"),
    [
        (
            {"ranges_pa": ((GAUGE_PA, GAUGE_PA + 4e5),)},
            "range: 0 bar gauge ... 4 bar gauge does not hold the set points",
        ),
        (
            {"supply_limit_pa": GAUGE_PA + 8e5},
            "supply limit: stands 8 bar gauge, the supply is 8.05 bar gauge",
        ),
        (
            {"temperature_k": (283.15, 353.15)},
            "temperature: NBR seals for 10 degC ... 80 degC, wanted 5 degC ... 45 degC",
        ),
        (
            {"temperature_k": (263.15, 313.15)},
            "temperature: NBR seals for -10 degC ... 40 degC",
        ),
        (
            {"seal": "EPDM", "media": SEALS["EPDM"].media},
            "medium: EPDM seals for clean air or ozone, wanted oil mist",
        ),
        ({"ports": ("G 1/4", "G 3/8")}, "port: G 1/4 or G 3/8, wanted G 1/2"),
    ],
)
def test_each_limit_refuses_with_its_figure(bag, other, told):
    # The recorded command's supply has a ripple of 0.05 bar.
    (refused,) = chosen(bag, unit(**other)).refused
    (reason,) = refused.against
    assert told in reason


def test_thread_is_the_same_with_and_without_a_space(bag):
    assert chosen(bag, unit(ports=("g1/2",))).fitting


def test_order_follows_the_criterion(bag):
    units = (
        unit(
            "dear and wide",
            fill="20 dm3/(s.bar) b 0.3",
            exhaust="20 dm3/(s.bar) b 0.3",
            price=900.0,
        ),
        unit("cheap", price=100.0, ranges_pa=((GAUGE_PA, GAUGE_PA + 10e5),)),
        unit("middle", price=500.0),
    )
    names = {
        by: [one.unit.name for one in chosen(bag, *units, by=by).fitting]
        for by in ("price", "margin", "resolution")
    }
    assert names["price"] == ["cheap", "middle", "dear and wide"]
    assert names["margin"][0] == "dear and wide"
    assert names["resolution"] == ["middle", "dear and wide", "cheap"]


def test_least_range_is_ordered(bag):
    both = ((GAUGE_PA, GAUGE_PA + 10e5), (GAUGE_PA, GAUGE_PA + 6e5))
    (fits,) = chosen(bag, unit(ranges_pa=both)).fitting
    assert fits.range.high_pa == GAUGE_PA + 6e5
    assert fits.resolution_pa == pytest.approx(24.0)


def test_shipped_press_finds_a_unit_and_reasons_for_the_rest(shipped):
    fitting = [one.unit.name for one in shipped.fitting]
    assert fitting == ["Birch 8", "Elm", "Rowan 7"]
    reasons = " ".join(line for one in shipped.refused for line in one.against)
    for word in ("forward", "exhaust", "range", "supply limit", "medium", "port"):
        assert f"{word}" in reasons
    assert all(one.against for one in shipped.refused)


def test_us_press_selects_the_same_units(shipped):
    us = load_scenario(shipped_scenario_path("veneer_press_us.toml"))
    catalogue = read_catalogue(CATALOGUE, Air(), us.basis)
    some = replace(catalogue, units=catalogue.units[1:6])
    selection = select(us, some, "price")
    assert selection.fitting
    assert selection.refused
    metric = {one.unit.name: one for one in (*shipped.fitting, *shipped.refused)}
    for other in (*selection.fitting, *selection.refused):
        one = metric[other.unit.name]
        assert other.fill_s == pytest.approx(one.fill_s, rel=1e-5)
        assert other.vent_s == pytest.approx(one.vent_s, rel=1e-5)
        assert len(one.against) == len(other.against)
