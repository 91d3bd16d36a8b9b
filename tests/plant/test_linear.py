"""Linearisation against derivatives by hand and against the moving plant.

The derivatives are taken by hand from the flow formula of ISO 6358-1
(second-hand), ``mdot = C rho0 p1 psi``, at the reference temperature, and from
the ideal gas law ``p V = m R T``. Tolerance 1e-8: what the differences promise.
"""

import math
from dataclasses import replace

import numpy as np
import pytest
from at_rest import plant_at
from scipy.linalg import expm

from host_sim.plant import layout
from host_sim.plant.linear import INPUTS, linearise
from host_sim.plant.operating_point import operating_point
from host_sim.plant.settings import (
    Booster,
    ChainPlant,
    Channel,
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

RHO, R, T, GAMMA, ATMOSPHERE_PA = 1.185, 287.05, 293.15, 1.4, 101_325.0
FILL_C, EXHAUST_C, BLEED_C, B, V = 1e-8, 1.5e-8, 3e-9, 0.3, 2e-3
DRIVE, SOURCE, CONSUMPTION = range(len(INPUTS))


def sensing(lag_s=0.0):
    channel = Channel(0.0, 12e5, bits=None, lag_s=lag_s)
    return Sensing(channel, channel)


def direct(supply_pa, bleed_c=0.0, thermal="isothermal", lag_s=0.0, hysteresis=0.0):
    valve = DirectValve(
        Restriction(FILL_C, B), Restriction(EXHAUST_C, B), lag_s, hysteresis
    )
    bleed = Restriction(bleed_c, B) if bleed_c else None
    load = Volume(V, ATMOSPHERE_PA, thermal)
    plant = DirectPlant(valve, load, Supply(supply_pa), bleed)
    return PlantSettings(plant, sensing=sensing())


def chain(*, booster_lag_s=0.02, dead_band=0.1, bleed=True, thermal="isothermal"):
    """Pilot chamber, booster, outlet, tube, load, behind a supply line."""

    def volume(litres, start_pa=ATMOSPHERE_PA):
        return Volume(litres * 1e-3, start_pa, thermal, wall_conductance_w_k=0.5)

    paths = Restriction(4e-8), Restriction(5e-8)
    booster = Booster(0.2e5, *paths, dead_band=dead_band, lag_s=booster_lag_s)
    pilot = PilotVolume(
        volume(0.02), Restriction(1e-9), Restriction(1e-9), Restriction(1e-10)
    )
    supply = Supply(9e5, line=Restriction(1e-7), volume=volume(5.0, 9e5))
    outflow = Restriction(4e-9) if bleed else None
    plant = ChainPlant(
        supply, pilot, booster, volume(0.3), Restriction(3e-8), volume(4.0), outflow
    )
    return PlantSettings(plant, sensing=sensing(lag_s=0.03))


def test_linearise_gives_hand_derivatives_of_a_shut_choked_valve():
    settings = direct(9e5)

    filling = linearise(operating_point(settings, 2e5))
    venting = linearise(operating_point(settings, 4e5, side="vent"))

    assert filling.states == ("load_kg",)
    assert filling.a[0, 0] == pytest.approx(0.0, abs=1e-12)
    assert filling.b[0] == pytest.approx([FILL_C * RHO * 9e5, 0.0, -1.0], rel=1e-8)
    assert venting.b[0, DRIVE] == pytest.approx(EXHAUST_C * RHO * 4e5, rel=1e-8)
    assert filling.c[:, 0] == pytest.approx([R * T / V] * 2, rel=1e-8)
    assert not filling.d.any()


def test_linearise_gives_hand_derivatives_of_choked_flow_with_bleed():
    load_pa, supply_pa = 4e5, 15e5
    point = operating_point(direct(supply_pa, BLEED_C), load_pa)
    linear = linearise(point)

    opening = BLEED_C * load_pa / (FILL_C * supply_pa)
    assert point.drive == pytest.approx(opening, rel=1e-9)
    assert linear.a[0, 0] == pytest.approx(-BLEED_C * RHO * R * T / V, rel=1e-8)
    assert linear.b[0, DRIVE] == pytest.approx(FILL_C * RHO * supply_pa, rel=1e-8)
    assert linear.b[0, SOURCE] == pytest.approx(opening * FILL_C * RHO, rel=1e-8)
    assert linear.error < 1e-8
    assert linear.notes == ()


def test_linearise_gives_hand_derivatives_of_subsonic_flow():
    load_pa, supply_pa = 6e5, 9e5
    ratio = load_pa / supply_pa
    psi = math.sqrt(1.0 - ((ratio - B) / (1.0 - B)) ** 2)
    steepness = (ratio - B) / ((1.0 - B) ** 2 * psi)
    opening = BLEED_C * load_pa / (FILL_C * supply_pa * psi)

    linear = linearise(operating_point(direct(supply_pa, BLEED_C), load_pa))

    per_pa = -opening * FILL_C * RHO * steepness - BLEED_C * RHO
    assert linear.a[0, 0] == pytest.approx(per_pa * R * T / V, rel=1e-8)
    by_source = opening * FILL_C * RHO * (psi + ratio * steepness)
    assert linear.b[0, SOURCE] == pytest.approx(by_source, rel=1e-8)


def test_linearise_adiabatic_load_rises_gamma_times_as_fast():
    linear = linearise(operating_point(direct(9e5, thermal="adiabatic"), 2e5))
    pressure_rate = linear.c @ linear.b[:, DRIVE]
    expected = GAMMA * R * T / V * FILL_C * RHO * 9e5
    assert pressure_rate == pytest.approx([expected] * 2, rel=1e-8)


@pytest.mark.parametrize(("side", "c"), [("fill", 4e-8), ("vent", 5e-8)])
def test_linearise_takes_the_chosen_edge_of_the_dead_band(side, c):
    band, full_pa, load_pa = 0.2, 0.2e5, 4e5
    booster = Booster(full_pa, Restriction(4e-8), Restriction(5e-8), dead_band=band)
    plant = ChainPlant(
        Supply(15e5),
        PilotLag(1e5, 7e5, 0.1, ATMOSPHERE_PA),
        booster,
        Volume(0.3e-3, ATMOSPHERE_PA),
        Restriction(6e-8),
        Volume(4e-3, ATMOSPHERE_PA),
    )
    point = operating_point(PlantSettings(plant, sensing=sensing()), load_pa, side=side)
    linear = linearise(point)

    edge_pa = load_pa + (band if side == "fill" else -band) * full_pa
    assert point.drive == pytest.approx((edge_pa - 1e5) / 6e5, rel=1e-9)
    row, column = linear.states.index("outlet_kg"), linear.states.index("pilot_pa")
    choked = c * RHO * (15e5 if side == "fill" else load_pa)
    expected = choked / (full_pa * (1.0 - band))
    assert linear.a[row, column] == pytest.approx(expected, rel=1e-7)
    assert any(side in note and "pilot_pa" in note for note in linear.notes)
    assert any("tube" in note for note in linear.notes)


def test_linearise_says_that_play_counts_as_closed():
    plain = linearise(operating_point(direct(9e5, BLEED_C, lag_s=0.02), 4e5))
    loose = direct(9e5, BLEED_C, lag_s=0.02, hysteresis=0.05)
    linear = linearise(operating_point(loose, 4e5))
    assert linear.notes == ("play: counts as closed",)
    assert np.array_equal(linear.a, plain.a)


def test_linearise_names_a_pilot_at_its_limit():
    plant = chain(bleed=True).arrangement
    pilot = PilotLag(4e5, 7e5, 0.1, ATMOSPHERE_PA)
    settings = PlantSettings(replace(plant, pilot=pilot), sensing=sensing())
    point = operating_point(settings, 4.5e5)
    at_limit = replace(point, inputs=(1.0, *point.inputs[1:]))
    assert not any("jumps" in note for note in linearise(point).notes)
    assert any("drive: the slope jumps" in n for n in linearise(at_limit).notes)


@pytest.mark.parametrize("thermal", ["isothermal", "polytropic", "adiabatic", "wall"])
@pytest.mark.parametrize("booster_lag_s", [0.0, 0.02])
def test_linear_plant_moves_as_the_plant_does(thermal, booster_lag_s):
    point = operating_point(chain(thermal=thermal, booster_lag_s=booster_lag_s), 4.5e5)
    linear = linearise(point)
    tick_s, ticks = 0.01, 30
    count = len(linear.states)
    block = np.zeros((count + 1, count + 1))
    block[:count, :count], block[:count, count] = linear.a, linear.b[:, DRIVE]
    step = 1e-5
    expected_pa = step * linear.c @ expm(block * tick_s * ticks)[:count, count]

    moved, still = plant_at(point, tick_s), plant_at(point, tick_s)
    for _ in range(ticks):
        moved.advance(point.drive + step)
        still.advance(point.drive)

    found_pa = [
        moved.body.view[slot] - still.body.view[slot]
        for slot in (layout.LOAD, layout.SENSED)
    ]
    assert still.pressures_pa().load == pytest.approx(point.load_pa, rel=1e-9)
    assert found_pa == pytest.approx(list(expected_pa), rel=5e-4)


def test_slowest_eigenvalue_is_the_decay_of_the_plant():
    point = operating_point(direct(9e5, BLEED_C, lag_s=0.02), 6e5)
    rates, modes = np.linalg.eig(linearise(point).a)
    slowest = int(np.argmax(rates.real))
    rate = float(rates[slowest].real)
    plant = plant_at(point, 0.01)
    mode = modes[:, slowest].real * 1e-6 / modes[1, slowest].real
    plant.body.state[layout.POSITION] += mode[0]
    plant.body.state[layout.LOAD] += mode[1]
    start_kg = plant.body.state[layout.LOAD] - point.state[layout.LOAD]
    ticks = round(1.0 / (-rate * 0.01))
    for _ in range(ticks):
        plant.advance(point.drive)
    ratio = (plant.body.state[layout.LOAD] - point.state[layout.LOAD]) / start_kg
    assert math.log(ratio) / (ticks * 0.01) == pytest.approx(rate, rel=1e-3)


def test_linear_plant_has_only_physical_states():
    linear = linearise(operating_point(chain(thermal="wall"), 4.5e5))
    volumes = ("load", "supply", "outlet", "pilot")
    expected = {f"{v}_{unit}" for v in volumes for unit in ("kg", "j")}
    assert set(linear.states) == expected | {"opening", "sensed_pa"}
    assert np.linalg.eigvals(linear.a).real.max() < 0.0
