"""Plants drawn at random, smooth ones, and drives for both.

Invented numbers of the size of small machines: valves of 1 ... 4 dm3/(s.bar),
boosters of 3 ... 20, loads of 0.3 ... 10 L. Consumption comes and goes, the source
sags for 0.4 s, drives are held for a few ticks each.
"""

import itertools
from dataclasses import dataclass, replace

import numpy as np

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

THERMALS = ("isothermal", "polytropic", "adiabatic", "wall")
ARRANGEMENTS = ("direct", "chain")
ATMOSPHERE_PA = 101_325.0
TOP_PA = 12e5
DURATION_S = 1.2


@dataclass(frozen=True)
class DrawnCase:
    """A plant, its tick, and the drive of each tick."""

    settings: PlantSettings
    tick_s: float
    drives: tuple[float, ...]

    @property
    def span_pa(self) -> float:
        return self.settings.arrangement.supply.pressure_pa - ATMOSPHERE_PA


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
        drawn_path(random, 1e-8, 4e-8),
        drawn_path(random, 1e-8, 4e-8),
        lag_s=float(random.uniform(0.005, 0.05)) if has_lag else 0.0,
        hysteresis=0.1 if number % 2 else 0.0,
    )
    plant = DirectPlant(
        valve,
        drawn_volume(random, 0.3, 3.0, thermal),
        drawn_supply(random, thermal, has_line=number % 2 == 0),
        bleed=drawn_path(random, 5e-11, 5e-10) if number % 3 else None,
        consumption=drawn_consumption(random),
    )
    return PlantSettings(plant, sensing=drawn_sensing(random, number % 4 < 2))


def drawn_pilot(random, thermal, is_volume, has_lag):
    if is_volume:
        return PilotVolume(
            drawn_volume(random, 0.005, 0.05, thermal),
            drawn_path(random, 1e-9, 5e-9),
            drawn_path(random, 1e-9, 5e-9),
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
        hysteresis=0.1 if number % 12 in {1, 6, 7, 8} else 0.0,
    )
    plant = ChainPlant(
        drawn_supply(random, thermal, has_line=number % 3 != 1),
        drawn_pilot(random, thermal, is_volume, has_lag),
        booster,
        drawn_volume(random, 0.2, 1.0, thermal),
        drawn_path(random, 1e-8, 8e-8),
        drawn_volume(random, 1.0, 10.0, thermal),
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


def drawn_case(arrangement, number):
    """Plant of a number; its thermal model is ``THERMALS[number % 4]``."""
    if arrangement == "direct":
        settings, tick_s = drawn_direct(number), (0.005, 0.01, 0.02)[number % 3]
    else:
        settings, tick_s = drawn_chain(number), (0.01, 0.02)[number % 2]
    drives = drawn_drives(number, round(DURATION_S / tick_s))
    return DrawnCase(settings, tick_s, tuple(drives))


def drawn_numbers(thermal, count):
    """First numbers of a thermal model."""
    return range(THERMALS.index(thermal), 4 * count, 4)


def smooth_case(arrangement, thermal):
    """A plant that meets no kink: no choking, shutting, clipping or play.

    It has every lag, ripple, bleed and consumption.
    """

    def volume(litres, start_pa):
        return Volume(litres * 1e-3, start_pa, thermal, wall_conductance_w_k=2.0)

    channel = Channel(0.0, TOP_PA, bits=None, lag_s=0.03)
    path, wide, bleed = (Restriction(c, 0.2) for c in (2e-8, 6e-8, 1e-9))
    supply = Supply(9e5, ripple_pa=1e4, ripple_hz=4.0, line=wide)
    common = {
        "supply": replace(supply, volume=volume(5.0, 7.5e5)),
        "consumption": Consumption(((0.0, 1e-3),)),
    }
    if arrangement == "direct":
        valve = DirectValve(path, path, lag_s=0.03)
        plant = DirectPlant(valve, volume(3.0, 3e5), bleed=bleed, **common)
    else:
        plant = ChainPlant(
            pilot=PilotLag(1e5, 7e5, 0.05, 5e5),
            booster=Booster(5e5, wide, wide, lag_s=0.02),
            outlet=volume(2.0, 3.4e5),
            tube=path,
            load=volume(3.0, 3e5),
            load_bleed=bleed,
            **common,
        )
    settings = PlantSettings(plant, sensing=Sensing(channel, channel))
    return DrawnCase(settings, 0.05, (0.9,) * 4)
