"""Operating points hold still in the plant; where there is none, one line says why.

The drawn plants are those that the adaptive solver is compared on.
"""

import numpy as np
import pytest
from at_rest import plant_at
from bench_plant import chain_plant, direct_plant

from host_sim.errors import InputError
from host_sim.plant.linear import linearise
from host_sim.plant.operating_point import operating_point
from host_sim.plant.settings import (
    Booster,
    ChainPlant,
    Channel,
    DirectPlant,
    DirectValve,
    PilotVolume,
    PlantSettings,
    Restriction,
    Sensing,
    Supply,
    Volume,
)

ATMOSPHERE_PA = 101_325.0
CHANNEL = Channel(0.0, 12e5, bits=None, lag_s=0.02)
THERMALS = ("isothermal", "polytropic", "adiabatic", "wall")


def drawn(number):
    """Any arrangement, thermal model, with and without outflow and lags."""
    random = np.random.default_rng([7, number])

    def path(low, high):
        return Restriction(
            float(np.exp(random.uniform(np.log(low), np.log(high)))),
            float(random.uniform(0.15, 0.53)),
            float(random.choice([0.5, 0.55])),
        )

    def volume(litres, start_pa=ATMOSPHERE_PA):
        litres *= float(random.uniform(0.5, 2.0))
        thermal = THERMALS[number % 4]
        return Volume(litres * 1e-3, start_pa, thermal, wall_conductance_w_k=0.4)

    lag_s = 0.02 if number % 3 else 0.0
    bleed = path(1e-10, 2e-9) if number % 2 else None
    supply = Supply(9e5)
    if number % 5:
        supply = Supply(9e5, line=path(1e-7, 4e-7), volume=volume(5.0, 9e5))
    fill, exhaust = path(3e-8, 2e-7), path(3e-8, 2e-7)
    if number % 8 < 4:
        valve = DirectValve(fill, exhaust, lag_s)
        plant = DirectPlant(valve, volume(2.0), supply, bleed)
    else:
        pilot = PilotVolume(
            volume(0.02), path(5e-10, 5e-9), path(5e-10, 5e-9), path(5e-12, 5e-11)
        )
        band = float(random.uniform(0.0, 0.15))
        booster = Booster(2e4, fill, exhaust, band, lag_s)
        plant = ChainPlant(
            supply, pilot, booster, volume(0.5), path(1e-8, 8e-8), volume(5.0), bleed
        )
    return PlantSettings(plant, sensing=Sensing(CHANNEL, CHANNEL))


@pytest.mark.parametrize("number", range(24))
@pytest.mark.parametrize("consumption_kg_s", [0.0, 1e-4])
def test_operating_point_holds_still(number, consumption_kg_s):
    settings = drawn(number)
    for share in (0.02, 0.5, 0.9):
        load_pa = ATMOSPHERE_PA + share * (9e5 - ATMOSPHERE_PA)
        point = operating_point(settings, load_pa, consumption_kg_s=consumption_kg_s)
        assert linearise(point).error < 1e-6
        plant = plant_at(point, 0.01)
        for _ in range(3):
            plant.advance(point.drive)
        assert point.load_pa == pytest.approx(load_pa, rel=1e-9)
        assert plant.pressures_pa().load == pytest.approx(load_pa, rel=1e-8)
        assert plant.opening == pytest.approx(plant_at(point, 0.01).opening, abs=1e-7)


@pytest.mark.parametrize("load_pa", [2e5, 8.5e5])
def test_operating_point_of_a_sealed_load_needs_no_drive(load_pa):
    assert operating_point(direct_plant(), load_pa).drive == 0.0


def test_operating_point_follows_the_supply():
    settings = direct_plant(bleed=0.5)
    rich, poor = (operating_point(settings, 3e5, source_pa=p) for p in (12e5, 4e5))
    assert poor.drive > rich.drive > 0.0


def test_operating_point_refuses_what_full_drive_cannot_hold():
    with pytest.raises(InputError, match=r"full drive holds \d+"):
        operating_point(direct_plant(bleed=2.0), 8.9e5)


def test_operating_point_refuses_what_the_pilot_cannot_hold():
    with pytest.raises(InputError, match="no drive holds the pilot"):
        operating_point(chain_plant(), 8e5)


@pytest.mark.parametrize("load_pa", [5e4, 9.5e5, float("nan")])
def test_operating_point_refuses_pressures_outside_atmosphere_and_supply(load_pa):
    with pytest.raises(InputError, match="not between atmosphere") as refusal:
        operating_point(direct_plant(bleed=0.1), load_pa)
    assert "\n" not in str(refusal.value)


@pytest.mark.parametrize("consumption_kg_s", [-1e-4, float("nan"), float("inf")])
def test_operating_point_refuses_a_consumption_that_is_no_flow(consumption_kg_s):
    with pytest.raises(InputError, match="consumption_kg_s"):
        operating_point(direct_plant(bleed=0.1), 4e5, consumption_kg_s=consumption_kg_s)


def test_operating_point_at_atmosphere_needs_no_drive_despite_a_bleed():
    point = operating_point(direct_plant(bleed=0.1), ATMOSPHERE_PA)
    assert point.drive == 0.0
    assert linearise(point).error < 1e-6
