"""The plant as a whole: interface, scripts, sensors, mass balance, guards."""

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from host_sim.errors import InputError
from host_sim.plant.channel import FULL_COUNTS
from host_sim.plant.gas import flow_function
from host_sim.plant.plant import Plant
from host_sim.plant.settings import (
    Booster,
    ChainPlant,
    Channel,
    Consumption,
    DirectPlant,
    DirectValve,
    PilotLag,
    PilotVolume,
    PlantSettings,
    Restriction,
    Sensing,
    Supply,
    Volume,
)

ATMOSPHERE_PA = 101_325.0
IDEAL = Channel(0.0, 1e6, bits=None)
IDEAL_SENSING = Sensing(IDEAL, IDEAL)
SUPPLY = Supply(7e5)
DROOPING = Supply(7e5, line=Restriction(1e-7), volume=Volume(5e-3, 7e5))
LOAD = Volume(2e-3, ATMOSPHERE_PA)
VALVE = DirectValve(Restriction(1e-8), Restriction(1e-8))
DIRECT = DirectPlant(VALVE, LOAD, SUPPLY)
PILOT_LAG = PilotLag(ATMOSPHERE_PA, 5e5, 0.05, ATMOSPHERE_PA)
PILOT_VOLUME = PilotVolume(
    Volume(2e-5, ATMOSPHERE_PA),
    Restriction(1e-9),
    Restriction(1e-9),
    Restriction(1e-11),
)
BOOSTER = Booster(3e4, Restriction(6e-8), Restriction(6e-8), 0.05, 0.01)
CHAIN = ChainPlant(
    DROOPING,
    PILOT_VOLUME,
    BOOSTER,
    outlet=Volume(5e-4, ATMOSPHERE_PA),
    tube=Restriction(3e-8),
    load=Volume(5e-3, ATMOSPHERE_PA),
    load_bleed=Restriction(5e-10),
)
THERMALS = ("isothermal", "polytropic", "adiabatic", "wall")


def start(arrangement, tick_s=0.01, sensing=IDEAL_SENSING):
    return Plant(PlantSettings(arrangement, sensing=sensing), tick_s)


def hold(plant, drive, ticks):
    for _ in range(ticks):
        plant.advance(drive)
    return plant


def sensed_pa(plant):
    return tuple(1e6 * counts / FULL_COUNTS for counts in plant.sense())


# Time and places.


def test_time_is_the_tick_count_times_the_tick():
    plant = hold(start(DIRECT, 0.1), 0.1, 3)
    assert plant.tick == 3
    assert plant.time_s == 3 * 0.1


def test_direct_outlet_is_the_load_and_has_no_pilot():
    plant = hold(start(DIRECT), 0.5, 10)
    pressures = plant.pressures_pa()
    assert pressures.outlet == pressures.load > ATMOSPHERE_PA
    assert pressures.supply == 7e5
    assert math.isnan(pressures.pilot)
    assert math.isnan(plant.temperatures_k().pilot)


def test_chain_pressures_fall_along_the_flow():
    plant = hold(start(CHAIN), 1.0, 20)
    pressures = plant.pressures_pa()
    assert plant.opening > 0.0
    assert 7e5 > pressures.supply > pressures.outlet > pressures.load > ATMOSPHERE_PA
    assert pressures.pilot > pressures.outlet


def test_booster_settles_its_outlet_on_the_pilot_within_the_dead_band():
    plant = hold(start(replace(CHAIN, pilot=PILOT_LAG, load_bleed=None)), 0.5, 800)
    pressures = plant.pressures_pa()
    request_pa = (ATMOSPHERE_PA + 5e5) / 2
    assert pressures.pilot == pytest.approx(request_pa, rel=1e-6)
    band_pa = BOOSTER.dead_band * BOOSTER.full_opening_pa
    assert 0.0 <= pressures.pilot - pressures.load <= 1.05 * band_pa
    assert plant.opening < 1e-3


@pytest.mark.parametrize(
    ("drive", "expected_pa"), [(-1.0, ATMOSPHERE_PA), (0.0, ATMOSPHERE_PA), (1.0, 7e5)]
)
def test_pilot_lag_is_limited_to_atmosphere_and_supply(drive, expected_pa):
    pilot = PilotLag(5e4, 9e5, 0.0, ATMOSPHERE_PA)
    plant = hold(start(replace(CHAIN, supply=SUPPLY, pilot=pilot)), drive, 1)
    assert plant.pressures_pa().pilot == expected_pa


def test_supply_droops_to_the_balance_of_two_equal_paths():
    """A choked path behind an equal one: r = psi(r), the root of a quadratic.

    The rule of thumb for series paths (1/C2 = sum of 1/C2, second-hand) would
    give 0.7071.
    """
    b = 0.3
    root = math.sqrt(b**2 - ((1 - b) ** 2 + 1) * (b**2 - (1 - b) ** 2))
    ratio = (b + root) / ((1 - b) ** 2 + 1)
    path = Restriction(1e-8, b)
    supply = Supply(7e5, line=path, volume=Volume(1e-4, 7e5))
    valve, load = DirectValve(path, path), Volume(0.1, ATMOSPHERE_PA)
    plant = hold(start(DirectPlant(valve, load, supply)), 1.0, 200)
    assert ratio == pytest.approx(flow_function(ratio, b, 0.5), rel=1e-12)
    assert plant.pressures_pa().supply == pytest.approx(ratio * 7e5, rel=1e-7)


# Actuators.


def test_valve_lag_follows_the_exponential():
    arrangement = replace(DIRECT, valve=replace(VALVE, lag_s=0.05))
    plant = hold(start(arrangement, 0.02), 0.8, 5)
    assert plant.opening == pytest.approx(0.8 * (1 - math.exp(-2.0)), rel=2e-5)


def test_valve_without_lag_opens_at_once():
    assert hold(start(DIRECT), -0.3, 1).opening == -0.3


def test_valve_play_holds_until_the_drive_has_crossed_it():
    plant = start(replace(DIRECT, valve=replace(VALVE, hysteresis=0.1)))
    openings = []
    for drive in (0.03, 0.5, 0.45, 0.41, 0.30, 0.35, 0.39, 0.45):
        plant.advance(drive)
        openings.append(plant.opening)
    expected = [0.0, 0.45, 0.45, 0.45, 0.35, 0.35, 0.35, 0.40]
    assert openings == pytest.approx(expected, abs=1e-12)


def test_booster_play_widens_the_band_at_rest():
    """With dead band d and play w, nothing moves while |z| < d + w / 2."""
    booster = replace(BOOSTER, dead_band=0.1, hysteresis=0.2, lag_s=0.0)
    pilot = replace(PILOT_LAG, lag_s=0.0, high_pa=ATMOSPHERE_PA + 3e4)
    plant = start(replace(CHAIN, pilot=pilot, booster=booster, load_bleed=None))
    assert hold(plant, 0.19, 5).opening == 0.0
    assert plant.air_used_kg == 0.0
    hold(plant, 0.25, 1)
    assert plant.air_used_kg > 0.0


# Scripts.


def test_source_steps_at_the_first_tick_not_earlier_than_its_time():
    supply = Supply(7e5, changes=((0.3, 5e5), (0.35, 6e5)))
    plant = start(replace(DIRECT, supply=supply), 0.1)
    seen = []
    for _ in range(6):
        seen.append((plant.pressures_pa().supply, round(sensed_pa(plant)[1])))
        plant.advance(0.0)
    levels = [7e5, 7e5, 7e5, 5e5, 6e5, 6e5]
    assert seen == [(level, level) for level in levels]


def test_source_ripples_with_its_amplitude_and_frequency():
    supply = Supply(7e5, ripple_pa=1e4, ripple_hz=2.5)
    plant = start(replace(DIRECT, supply=supply), 0.1)
    seen = [plant.advance(0.0) or plant.pressures_pa().supply for _ in range(4)]
    assert seen == pytest.approx([7.1e5, 7e5, 6.9e5, 7e5], rel=1e-9)


def test_consumption_draws_what_the_script_says():
    consumption = Consumption(((0.2, 1e-4), (0.5, 0.0)))
    load = Volume(2e-3, 6e5)
    plant = start(replace(DIRECT, load=load, consumption=consumption), 0.1)
    released = [
        plant.advance(0.0) or plant.mass_balance().released_kg for _ in range(7)
    ]
    assert released == pytest.approx([0, 0, 1e-5, 2e-5, 3e-5, 3e-5, 3e-5], abs=1e-17)


def test_consumption_fades_and_never_draws_below_atmosphere():
    consumption = Consumption(((0.0, 1e-3),))
    load = Volume(2e-3, 1.1 * ATMOSPHERE_PA)
    plant = hold(start(replace(DIRECT, load=load, consumption=consumption)), 0.0, 200)
    assert plant.pressures_pa().load == pytest.approx(ATMOSPHERE_PA, rel=1e-6)
    assert plant.pressures_pa().load >= ATMOSPHERE_PA


def test_consumption_is_halved_half_way_down_its_fade():
    consumption = Consumption(((0.0, 1e-9),))
    load = Volume(1.0, 1.005 * ATMOSPHERE_PA)
    plant = hold(
        start(replace(DIRECT, load=load, consumption=consumption), 1.0), 0.0, 1
    )
    assert plant.mass_balance().released_kg == pytest.approx(5e-10, rel=1e-3)


# Sensors.


def test_ideal_sensors_show_the_true_pressures():
    plant = hold(start(CHAIN), 0.7, 30)
    pressures = plant.pressures_pa()
    assert sensed_pa(plant) == pytest.approx((pressures.load, pressures.supply))


def test_sensor_at_the_outlet_shows_the_outlet():
    sensing = replace(IDEAL_SENSING, location="outlet")
    plant = hold(start(CHAIN, sensing=sensing), 0.7, 30)
    assert sensed_pa(plant)[0] == pytest.approx(plant.pressures_pa().outlet)
    assert plant.pressures_pa().outlet > 1.01 * plant.pressures_pa().load


def test_sensor_lag_trails_a_ramp_by_its_time():
    """A choked isothermal fill is a ramp; a lag trails it by slope times lag."""
    sensing = replace(IDEAL_SENSING, pressure=replace(IDEAL, lag_s=0.02))
    load = Volume(20e-3, ATMOSPHERE_PA)
    plant = hold(start(replace(DIRECT, load=load), sensing=sensing), 1.0, 30)
    before_pa = plant.pressures_pa().load
    plant.advance(1.0)
    slope_pa_s = (plant.pressures_pa().load - before_pa) / 0.01
    behind_pa = plant.pressures_pa().load - sensed_pa(plant)[0]
    assert behind_pa == pytest.approx(0.02 * slope_pa_s, rel=1e-5)


@given(st.floats(0.0, 0.2))
@settings(max_examples=20, deadline=None)
def test_transport_delay_shows_a_ramp_late(delay_s):
    sensing = replace(IDEAL_SENSING, pressure=replace(IDEAL, delay_s=delay_s))
    load = Volume(40e-3, ATMOSPHERE_PA)
    plant = hold(start(replace(DIRECT, load=load), sensing=sensing), 1.0, 25)
    slope_pa_s = (plant.pressures_pa().load - ATMOSPHERE_PA) / plant.time_s
    behind_pa = plant.pressures_pa().load - sensed_pa(plant)[0]
    assert behind_pa == pytest.approx(delay_s * slope_pa_s, rel=1e-6, abs=1e-3)


def test_supply_sensor_shows_a_step_after_its_delay():
    supply = Supply(7e5, changes=((0.05, 5e5),))
    sensing = replace(IDEAL_SENSING, supply=replace(IDEAL, delay_s=0.03))
    plant = start(replace(DIRECT, supply=supply), sensing=sensing)
    seen = []
    for _ in range(10):
        seen.append(sensed_pa(plant)[1])
        plant.advance(0.0)
    assert seen == pytest.approx([7e5] * 8 + [5e5] * 2)


def test_sensors_start_settled():
    lagging = replace(IDEAL, lag_s=0.3, delay_s=0.1)
    plant = start(CHAIN, sensing=Sensing(lagging, lagging))
    assert sensed_pa(plant) == pytest.approx((ATMOSPHERE_PA, 7e5))


def test_noise_of_the_sensors_is_independent_and_repeats_with_the_seed():
    noisy = replace(IDEAL, noise=100.0)
    runs = []
    for seed in (4, 4, 5):
        plant = start(DIRECT, sensing=Sensing(noisy, noisy, seed=seed))
        pressure_pa, supply_pa = sensed_pa(plant)
        runs.append((pressure_pa - ATMOSPHERE_PA, supply_pa - 7e5))
    assert runs[0] == runs[1] != runs[2]
    assert abs(runs[0][0] - runs[0][1]) > 1.0


def test_sensing_does_not_disturb_the_plant():
    one, other = start(CHAIN), start(CHAIN)
    for _ in range(10):
        one.sense()
        one.advance(0.6)
        other.advance(0.6)
    assert one.pressures_pa() == other.pressures_pa()


# Mass balance.


def arrangement_of(is_chain, thermal, has_line, is_pilot_volume):
    def made(volume):
        return replace(volume, thermal=thermal, wall_conductance_w_k=0.5)

    supply = SUPPLY
    if has_line:
        supply = replace(DROOPING, volume=made(Volume(5e-3, 7e5)))
    common = {
        "supply": supply,
        "load": made(LOAD),
        "consumption": Consumption(((0.1, 3e-4),)),
    }
    if not is_chain:
        return replace(DIRECT, bleed=Restriction(3e-10), **common)
    pilot = PILOT_LAG
    if is_pilot_volume:
        pilot = replace(PILOT_VOLUME, chamber=made(PILOT_VOLUME.chamber))
    return replace(CHAIN, pilot=pilot, outlet=made(CHAIN.outlet), **common)


@given(
    st.booleans(),
    st.sampled_from(THERMALS),
    st.booleans(),
    st.booleans(),
    st.lists(st.floats(-1.0, 1.0), min_size=5, max_size=40),
)
@settings(max_examples=40, deadline=None)
def test_mass_balance_closes(is_chain, thermal, has_line, is_pilot_volume, drives):
    plant = start(arrangement_of(is_chain, thermal, has_line, is_pilot_volume))
    for drive in drives:
        plant.advance(drive)
    balance = plant.mass_balance()
    assert abs(balance.error_kg) < 1e-9 * balance.stored_at_start_kg
    assert balance.drawn_kg == plant.air_used_kg


@given(st.lists(st.floats(-1.0, 1.0), min_size=5, max_size=40))
@settings(max_examples=20, deadline=None)
def test_pressures_stay_between_atmosphere_and_supply(drives):
    plant = start(replace(CHAIN, load_bleed=None))
    for drive in drives:
        plant.advance(drive)
        pressures = plant.pressures_pa()
        for pressure_pa in (pressures.load, pressures.outlet, pressures.pilot):
            assert ATMOSPHERE_PA - 10.0 <= pressure_pa <= 7e5 + 10.0


def test_mass_balance_shows_where_the_air_went():
    plant = hold(start(DIRECT), 1.0, 20)
    filled = plant.mass_balance()
    assert filled.drawn_kg > 0.0
    assert filled.released_kg == 0.0
    assert filled.stored_kg > filled.stored_at_start_kg
    vented = hold(plant, -1.0, 20).mass_balance()
    assert vented.drawn_kg == filled.drawn_kg
    assert vented.released_kg > 0.0


# Guards.


@pytest.mark.parametrize(
    ("supply", "words"),
    [
        (replace(DROOPING, line=None), "a volume without a line"),
        (replace(DROOPING, volume=None), "a line without a volume"),
    ],
)
def test_half_a_supply_line_is_refused(supply, words):
    with pytest.raises(InputError, match=words):
        start(replace(DIRECT, supply=supply))


@pytest.mark.parametrize("tick_s", [0.0, -0.01, math.inf, math.nan])
def test_tick_must_be_a_positive_time(tick_s):
    with pytest.raises(InputError, match="tick_s"):
        start(DIRECT, tick_s)


@pytest.mark.parametrize("drive", [math.nan, math.inf])
def test_drive_that_is_no_number_is_refused_with_its_time(drive):
    plant = hold(start(DIRECT), 0.5, 3)
    with pytest.raises(InputError, match=r"drive: \w+ at t = 0\.03 s"):
        plant.advance(drive)


def test_drive_beyond_its_range_acts_as_the_end():
    end, beyond = hold(start(CHAIN), 1.0, 5), hold(start(CHAIN), 1.3, 5)
    assert beyond.pressures_pa() == end.pressures_pa()
    assert hold(start(DIRECT), -1.3, 1).opening == -1.0


@pytest.mark.parametrize("arrangement", [DIRECT, CHAIN])
def test_plant_that_leaves_the_physical_range_is_reported_with_its_time(arrangement):
    supply = replace(arrangement.supply, changes=((0.03, math.nan),))
    plant = hold(start(replace(arrangement, supply=supply)), 0.5, 3)
    with pytest.raises(InputError, match=r"physical range at t = 0\.03 s"):
        plant.advance(0.5)
