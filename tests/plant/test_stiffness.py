"""Bounds on speed: right for cases with a closed form, and stable in use."""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from host_sim.plant.plant import Plant
from host_sim.plant.settings import (
    Booster,
    ChainPlant,
    Channel,
    Consumption,
    DirectPlant,
    DirectValve,
    PilotLag,
    PlantSettings,
    Restriction,
    Sensing,
    Supply,
    Volume,
)
from host_sim.plant.stiffness import ladder, time_constants

ATMOSPHERE_PA = 101_325.0
IDEAL = Channel(0.0, 1e6, bits=None)
SENSING = Sensing(IDEAL, IDEAL)
SHUT = Restriction(0.0)
DIRECT = DirectPlant(DirectValve(SHUT, SHUT), Volume(1e-3, 2e5), Supply(7e5))
SMALL = Volume(2e-5, ATMOSPHERE_PA)
CHAIN = ChainPlant(
    Supply(7e5),
    PilotLag(ATMOSPHERE_PA, 8e5, lag_s=1e3, start_pressure_pa=9e5),
    Booster(1e4, Restriction(1e-7), Restriction(1e-7)),
    outlet=SMALL,
    tube=Restriction(1e-7),
    load=SMALL,
)


def plant_of(arrangement, tick_s=0.01, sensing=SENSING):
    return Plant(PlantSettings(arrangement, sensing=sensing), tick_s)


def test_bleed_near_atmosphere_decays_no_faster_than_its_bound():
    """Within 0.1 % of atmosphere the pressure decays exponentially."""
    load = Volume(1e-3, 1.0005 * ATMOSPHERE_PA)
    arrangement = replace(DIRECT, load=load, bleed=Restriction(1e-8))
    found = time_constants(PlantSettings(arrangement, sensing=SENSING))[0]
    plant = plant_of(arrangement, tick_s=0.02 * found.seconds)
    for _ in range(25):
        plant.advance(0.0)
    excess = (plant.pressures_pa().load / ATMOSPHERE_PA - 1.0) / 0.0005
    measured_s = -plant.time_s / math.log(excess)
    assert found.part == "the load volume"
    assert 0.8 * measured_s < found.seconds < measured_s


@pytest.mark.parametrize(
    ("arrangement", "part", "seconds", "step_ratio"),
    [
        (
            replace(DIRECT, valve=DirectValve(SHUT, SHUT, lag_s=0.003)),
            "the valve lag",
            0.003,
            0.5,
        ),
        (
            replace(DIRECT, valve=DirectValve(SHUT, SHUT, 0.003, hysteresis=0.01)),
            "the valve lag",
            0.003,
            0.25,
        ),
        (
            replace(DIRECT, supply=Supply(7e5, ripple_pa=1e3, ripple_hz=50.0)),
            "the supply ripple",
            1 / (100 * math.pi),
            0.5,
        ),
        (
            replace(
                DIRECT,
                load=Volume(1e-3, 2e5, "wall", wall_conductance_w_k=100.0),
            ),
            "the load wall",
            ATMOSPHERE_PA * 1e-3 / (0.4 * 293.15) / 100.0,
            0.5,
        ),
    ],
)
def test_fastest_part_is_named(arrangement, part, seconds, step_ratio):
    plant = plant_of(arrangement)
    assert plant.fastest_name == part
    assert plant.fastest_time_constant_s == pytest.approx(seconds)
    assert plant.substeps == ladder(0.01 / (step_ratio * seconds))


def test_sensors_ask_for_no_substeps_since_their_lags_are_exact():
    quick = replace(IDEAL, lag_s=1e-6)
    assert plant_of(DIRECT, sensing=Sensing(quick, quick)).substeps == 1


@pytest.mark.parametrize(
    ("delay_s", "substeps"), [(0.03, 1), (0.3, 1), (0.013, 4), (0.0001, 4)]
)
def test_delay_of_a_part_of_a_tick_asks_for_substeps(delay_s, substeps):
    late = replace(IDEAL, delay_s=delay_s)
    for sensing in (Sensing(late, IDEAL), Sensing(IDEAL, late)):
        assert plant_of(DIRECT, sensing=sensing).substeps == substeps


def test_substeps_may_be_multiplied():
    settings = PlantSettings(CHAIN, sensing=SENSING)
    plain, finer = Plant(settings, 0.01), Plant(settings, 0.01, substeps_factor=3)
    assert finer.substeps == 3 * plain.substeps
    assert finer.step_s == pytest.approx(plain.step_s / 3)


@given(st.floats(1e-3, 1e5))
def test_ladder_rounds_up_to_a_rung_less_than_half_above(needed):
    rung = ladder(needed)
    odd = rung
    while odd % 2 == 0:
        odd //= 2
    assert odd in {1, 3}
    assert needed <= rung * (1 + 1e-9)
    assert rung < 1.5 * needed or rung <= 2


def test_plant_at_rest_takes_one_step_a_tick():
    plant = plant_of(DIRECT, tick_s=0.01)
    assert plant.substeps == 1


@pytest.mark.parametrize("thermal", ["isothermal", "adiabatic"])
@pytest.mark.parametrize("lag_s", [0.0, 0.002])
@pytest.mark.parametrize("tick_s", [0.001, 0.02])
def test_chain_of_small_volumes_comes_to_rest_at_equal_pressures(
    thermal, lag_s, tick_s
):
    """The stiffest state there is: wide open and equal to the last 0.1 %.

    The slow pilot stays above the supply, so that the booster stays open.
    """
    volume = replace(SMALL, thermal=thermal)
    booster = replace(CHAIN.booster, lag_s=lag_s)
    arrangement = replace(CHAIN, outlet=volume, load=volume, booster=booster)
    plant = plant_of(arrangement, tick_s)
    while plant.time_s < 0.1:
        plant.advance(1.0)
    before = plant.pressures_pa()
    assert plant.opening == pytest.approx(1.0)
    plant.advance(1.0)
    assert before.load == pytest.approx(7e5, rel=1e-9)
    assert before.outlet == pytest.approx(7e5, rel=1e-9)
    assert plant.pressures_pa().load == pytest.approx(before.load, rel=1e-10)


@pytest.mark.parametrize("thermal", ["isothermal", "polytropic", "adiabatic", "wall"])
@pytest.mark.parametrize("is_chain", [False, True])
def test_one_millilitre_behind_a_wide_valve_stays_accurate(is_chain, thermal):
    """Filled to equal pressures and emptied, each in a fraction of a millisecond.

    Judged by eight times the substeps, at every tick, within 1e-3 of span.
    """
    tiny, wide = Volume(1e-6, ATMOSPHERE_PA, thermal), Restriction(1e-7)
    tiny = replace(tiny, wall_conductance_w_k=0.1)
    direct = DirectPlant(DirectValve(wide, wide), tiny, Supply(7e5))
    pilot = PilotLag(ATMOSPHERE_PA, 9e5, lag_s=0.0, start_pressure_pa=ATMOSPHERE_PA)
    booster = Booster(1e5, wide, wide)
    chain = ChainPlant(Supply(7e5), pilot, booster, tiny, wide, tiny)
    settings = PlantSettings(chain if is_chain else direct, sensing=SENSING)
    plant, exact = (Plant(settings, 2e-4, factor) for factor in (1, 8))
    for drive, end_pa in ((1.0, 7e5), (-1.0, ATMOSPHERE_PA)):
        for _ in range(12):
            for each in (plant, exact):
                each.advance(drive)
            error_pa = plant.pressures_pa().load - exact.pressures_pa().load
            assert abs(error_pa) < 1e-3 * 6e5
        assert plant.pressures_pa().load == pytest.approx(end_pa, rel=0.02)


def test_fading_consumption_comes_to_rest():
    load = Volume(1e-4, 1.2 * ATMOSPHERE_PA)
    consumption = Consumption(((0.0, 5e-3),))
    plant = plant_of(replace(DIRECT, load=load, consumption=consumption))
    for _ in range(20):
        plant.advance(0.0)
    assert plant.fastest_name == "the load volume"
    assert plant.pressures_pa().load == pytest.approx(ATMOSPHERE_PA, rel=1e-9)


@pytest.mark.parametrize("lag_s", [0.0, 0.01])
def test_sharp_booster_holds_its_outlet_still(lag_s):
    """A small full-opening difference makes the loop the fastest part."""
    booster = replace(CHAIN.booster, full_opening_pa=500.0, lag_s=lag_s)
    arrangement = replace(
        CHAIN,
        pilot=PilotLag(ATMOSPHERE_PA, 5e5, 0.05, ATMOSPHERE_PA),
        booster=booster,
        outlet=replace(SMALL, volume_m3=2e-3),
        tube=Restriction(1e-8),
        load_bleed=Restriction(2e-9),
    )
    plant = plant_of(arrangement)
    for _ in range(100):
        plant.advance(0.5)
    before = plant.opening
    plant.advance(0.5)
    pressures = plant.pressures_pa()
    parts = time_constants(PlantSettings(arrangement, sensing=SENSING))
    closing = "the booster loop" if lag_s else "the outlet volume"
    assert parts[0].part == closing
    assert before > 0.0
    assert plant.opening == pytest.approx(before, rel=1e-3)
    assert pressures.outlet == pytest.approx(pressures.pilot, abs=500.0)


def test_booster_loop_is_as_fast_as_its_closed_form():
    """Geometric mean of the lag and of n R T mdot / V over the full opening."""
    rate = 287.05 * 293.15 / 2e-5 * 1e-7 * 1.185 * 9e5 / 1e4
    booster = replace(CHAIN.booster, lag_s=0.02)
    arrangement = replace(CHAIN, supply=Supply(9e5), booster=booster)
    parts = time_constants(PlantSettings(arrangement, sensing=SENSING))
    (found,) = (part for part in parts if part.part == "the booster loop")
    assert found.seconds == pytest.approx(math.sqrt(0.02 / rate), rel=1e-9)


def test_booster_without_lag_makes_its_outlet_faster_by_its_closed_form():
    """The flow over the full opening, on top of the slope near equal pressures."""
    flow = 1e-7 * 1.185 * 9e5
    end = math.sqrt(1.0 - (0.699 / 0.7) ** 2) / 0.001
    slope = flow / 1e4 + 1e-7 * 1.185 * end
    arrangement = replace(CHAIN, supply=Supply(9e5), tube=SHUT)
    parts = time_constants(PlantSettings(arrangement, sensing=SENSING))
    assert parts[0].part == "the outlet volume"
    rate = 287.05 * 293.15 / 2e-5 * slope
    assert parts[0].seconds == pytest.approx(1 / rate, rel=1e-9)
