"""The fixed-step plant against an adaptive solver on the same equations.

Authority: scipy.integrate.solve_ivp (LSODA, rtol 1e-9) on a right-hand side that
is written a second time in `conftest.py`.
Demanded: load pressure within 0.05 % of span at every tick, span being the
source less the atmosphere; the sensors' lags are held to the same figure.
"""

import itertools

import numpy as np
import pytest

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

ALLOWED_OF_SPAN = 5e-4
THERMALS = ("isothermal", "polytropic", "adiabatic", "wall")
FULL_COUNTS = 32767
TOP_PA = 12e5


# Drawn plants.


def log_draw(random, low, high):
    return float(np.exp(random.uniform(np.log(low), np.log(high))))


def drawn_path(random, low, high):
    return Restriction(
        log_draw(random, low, high),
        float(random.uniform(0.15, 0.53)),
        float(random.choice([0.5, 0.55, 0.6])),
    )


def drawn_volume(random, low, high, thermal, start_pa=101_325.0):
    litres = log_draw(random, low, high)
    return Volume(
        litres * 1e-3,
        start_pa,
        thermal,
        exponent=float(random.uniform(1.05, 1.4)),
        wall_conductance_w_k=log_draw(random, 0.1, 2.0) * litres ** (2 / 3),
    )


def drawn_supply(random, thermal, has_line):
    pressure_pa = float(random.uniform(4e5, 9e5))
    ripple = {"ripple_pa": 5e3, "ripple_hz": 3.0} if random.random() < 0.5 else {}
    changes = ((0.5, 0.8 * pressure_pa), (0.9, pressure_pa))
    if not has_line:
        return Supply(pressure_pa, changes=changes, **ripple)
    line = drawn_path(random, 1e-7, 4e-7)
    volume = drawn_volume(random, 1.0, 10.0, thermal, pressure_pa)
    return Supply(pressure_pa, changes, line=line, volume=volume, **ripple)


def drawn_consumption(random):
    return Consumption(((0.2, log_draw(random, 1e-5, 1e-3)), (1.1, 0.0)))


def drawn_sensing(random, has_lag, location="load"):
    lag_s = float(random.uniform(0.005, 0.05)) if has_lag else 0.0
    channel = Channel(0.0, TOP_PA, bits=None, lag_s=lag_s)
    return Sensing(channel, channel, location)


def drawn_direct(number):
    random = np.random.default_rng([1, number])
    thermal = THERMALS[number % 4]
    has_lag = number % 3 > 0
    valve = DirectValve(
        drawn_path(random, 5e-9, 4e-8),
        drawn_path(random, 5e-9, 4e-8),
        lag_s=float(random.uniform(0.005, 0.05)) if has_lag else 0.0,
        hysteresis=0.1 if number % 2 else 0.0,
    )
    plant = DirectPlant(
        valve,
        drawn_volume(random, 0.3, 5.0, thermal),
        drawn_supply(random, thermal, has_line=number % 2 == 0),
        bleed=drawn_path(random, 5e-11, 5e-10) if number % 3 else None,
        consumption=drawn_consumption(random),
    )
    return PlantSettings(plant, sensing=drawn_sensing(random, number % 4 < 2))


def drawn_pilot(random, thermal, is_volume, has_lag):
    if is_volume:
        return PilotVolume(
            drawn_volume(random, 0.005, 0.05, thermal),
            drawn_path(random, 5e-10, 5e-9),
            drawn_path(random, 5e-10, 5e-9),
            bleed=drawn_path(random, 5e-12, 5e-11),
        )
    lag_s = float(random.uniform(0.02, 0.1)) if has_lag else 0.0
    return PilotLag(1.0e5, 7e5, lag_s, 101_325.0)


def drawn_chain(number):
    random = np.random.default_rng([2, number])
    thermal = THERMALS[number % 4]
    has_lag = number % 3 > 0
    is_volume = number // 4 % 2 == 0
    booster = Booster(
        log_draw(random, 1e4, 5e4),
        drawn_path(random, 3e-8, 2e-7),
        drawn_path(random, 3e-8, 2e-7),
        dead_band=float(random.uniform(0.0, 0.15)),
        lag_s=float(random.uniform(0.005, 0.03)) if has_lag else 0.0,
        hysteresis=0.1 if number in {1, 6, 7, 8} else 0.0,
    )
    plant = ChainPlant(
        drawn_supply(random, thermal, has_line=number % 3 != 1),
        drawn_pilot(random, thermal, is_volume, has_lag),
        booster,
        drawn_volume(random, 0.2, 1.0, thermal),
        drawn_path(random, 1e-8, 8e-8),
        drawn_volume(random, 1.0, 20.0, thermal),
        load_bleed=drawn_path(random, 1e-10, 2e-9) if number % 2 else None,
        consumption=drawn_consumption(random),
    )
    location = ("load", "outlet")[number // 2 % 2]
    return PlantSettings(plant, sensing=drawn_sensing(random, number % 4 < 2, location))


def drawn_drives(number, ticks):
    """Held levels, a few ticks each, over the whole range."""
    random = np.random.default_rng([3, number])
    levels = itertools.chain.from_iterable(
        [float(level)] * int(random.integers(1, 12))
        for level in random.uniform(-0.7, 1.0, ticks)
    )
    return list(itertools.islice(levels, ticks))


def worst_of_span(reference_run, settings, drives, tick_s):
    """Largest errors of load, sensed and sensed supply pressure, of span."""
    plant = Plant(settings, tick_s)
    span_pa = settings.arrangement.supply.pressure_pa - 101_325.0
    worst = np.zeros(3)
    moved = 0.0
    reference = reference_run(settings, drives, tick_s)
    for drive, expected in zip(drives, reference, strict=True):
        plant.advance(drive)
        counts = plant.sense()
        sensed = [TOP_PA * count / FULL_COUNTS for count in counts]
        found = np.array([plant.pressures_pa().load, *sensed])
        worst = np.maximum(worst, abs(found - expected) / span_pa)
        moved = max(moved, plant.pressures_pa().load - 101_325.0)
    assert moved > 0.05 * span_pa, "the load never moved: nothing was compared"
    return worst


@pytest.mark.parametrize("number", range(12))
def test_direct_follows_the_adaptive_solver(reference_run, number):
    tick_s = (0.005, 0.01, 0.02)[number % 3]
    ticks = round(1.4 / tick_s)
    worst = worst_of_span(
        reference_run, drawn_direct(number), drawn_drives(number, ticks), tick_s
    )
    assert max(worst) < ALLOWED_OF_SPAN


@pytest.mark.parametrize("number", range(12))
def test_chain_follows_the_adaptive_solver(reference_run, number):
    tick_s = (0.01, 0.02)[number % 2]
    ticks = round(1.4 / tick_s)
    worst = worst_of_span(
        reference_run, drawn_chain(number), drawn_drives(number, ticks), tick_s
    )
    assert max(worst) < ALLOWED_OF_SPAN
