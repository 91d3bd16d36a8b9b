"""The fixed-step plant against an adaptive solver on the same equations.

Authority: scipy.integrate.solve_ivp (LSODA, rtol 1e-9). Its right-hand side is
written here a second time from the equations in `settings.py`, in mass and
temperature rather than mass and energy, and shares no code with the plant.
Demanded: load pressure within 0.05 % of span at every tick, span being the
source less the atmosphere; the sensors' lags are held to the same figure.
"""

import itertools
import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

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


# The equations, written independently.


def reference_flow(path, air, up, down):
    """ISO 6358-1 with the linear end; up and down are (Pa, K)."""
    if path is None:
        return 0.0
    if up[0] < down[0]:
        return -reference_flow(path, air, down, up)
    r, b = down[0] / up[0], path.critical_ratio

    def ellipse(ratio):
        if ratio <= b:
            return 1.0
        return (1.0 - ((ratio - b) / (1.0 - b)) ** 2) ** path.index

    share = ellipse(r) if r <= 0.999 else ellipse(0.999) * (1.0 - r) / 0.001
    density = air.reference_density_kg_m3
    q = path.conductance_m3_s_pa * up[0] * share
    return density * q * math.sqrt(air.reference_temperature_k / up[1])


class ReferenceVolume:
    def __init__(self, volume, air):
        self.volume, self.air = volume, air
        self.wall_k = volume.wall_temperature_k or air.ambient_temperature_k
        specific = air.gas_constant_j_kg_k * self.wall_k
        self.start_kg = volume.start_pressure_pa * volume.volume_m3 / specific
        self.start = [self.start_kg, self.wall_k]

    def gas(self, mass, temperature):
        if self.volume.thermal == "isothermal":
            temperature = self.wall_k
        if self.volume.thermal == "polytropic":
            exponent = self.volume.exponent - 1.0
            temperature = self.wall_k * (mass / self.start_kg) ** exponent
        specific = self.air.gas_constant_j_kg_k * temperature
        return mass * specific / self.volume.volume_m3, temperature

    def rates(self, gas, mass, streams):
        """Streams are (inflow kg/s, temperature of the air that enters)."""
        inflow = sum(flow for flow, _ in streams)
        if self.volume.thermal in ("isothermal", "polytropic"):
            return [inflow, 0.0]
        cv = self.air.gas_constant_j_kg_k / (self.air.gamma - 1.0)
        cp = cv + self.air.gas_constant_j_kg_k
        power = sum(
            flow * (cp * (entering if flow > 0.0 else gas[1]) - cv * gas[1])
            for flow, entering in streams
        )
        if self.volume.thermal == "wall":
            power -= self.volume.wall_conductance_w_k * (gas[1] - self.wall_k)
        return [inflow, power / (mass * cv)]

    def pressure_rate(self, gas, mass, rates):
        if self.volume.thermal == "polytropic":
            return self.volume.exponent * gas[0] * rates[0] / mass
        return gas[0] * (rates[0] / mass + rates[1] / gas[1])


def clip(number, low, high):
    return max(low, min(number, high))


class ReferencePlant:
    """States: sensor lags, actuator lag, play, then (kg, K) of each volume."""

    def __init__(self, settings):
        self.settings, self.plant = settings, settings.arrangement
        air = self.air = self.plant.air
        self.outside = (air.atmosphere_pa, air.ambient_temperature_k)
        self.load = ReferenceVolume(self.plant.load, air)
        self.volumes = {"load": self.load}
        if self.plant.supply.volume:
            self.volumes["supply"] = ReferenceVolume(self.plant.supply.volume, air)
        if isinstance(self.plant, ChainPlant):
            self.volumes["outlet"] = ReferenceVolume(self.plant.outlet, air)
            if isinstance(self.plant.pilot, PilotVolume):
                self.volumes["pilot"] = ReferenceVolume(self.plant.pilot.chamber, air)
        self.at = {name: 5 + 2 * i for i, name in enumerate(self.volumes)}
        supply = self.plant.supply
        supply_pa = (supply.volume or supply).__dict__.get(
            "start_pressure_pa", supply.pressure_pa
        )
        place = self.sensed_place()
        start_pa = {name: v.volume.start_pressure_pa for name, v in self.volumes.items()}
        pilot_pa = getattr(
            getattr(self.plant, "pilot", None), "start_pressure_pa", math.nan
        )
        self.start = [start_pa[place], supply_pa, 0.0, 0.0, pilot_pa]
        if math.isnan(pilot_pa):
            self.start[4] = 0.0
        for volume in self.volumes.values():
            self.start += volume.start
        if isinstance(self.plant, ChainPlant):
            pilot = start_pa.get("pilot", self.start[4])
            z = (pilot - start_pa["outlet"]) / self.plant.booster.full_opening_pa
            half = self.plant.booster.hysteresis / 2.0
            self.start[3] = clip(0.0, z - half, z + half)

    def sensed_place(self):
        chain = isinstance(self.plant, ChainPlant)
        return "outlet" if chain and self.settings.sensing.location == "outlet" else "load"

    def source_pa(self, script_s, t):
        supply = self.plant.supply
        level = supply.pressure_pa
        for time_s, pressure_pa in supply.changes:
            if time_s <= script_s + 1e-9:
                level = pressure_pa
        return level + supply.ripple_pa * math.sin(2 * math.pi * supply.ripple_hz * t)

    def consumption(self, script_s, load_pa):
        flow = 0.0
        for time_s, flow_kg_s in self.plant.consumption.changes:
            if time_s <= script_s + 1e-9:
                flow = flow_kg_s
        return flow * clip((load_pa / self.air.atmosphere_pa - 1.0) / 0.01, 0.0, 1.0)

    def gases(self, t, y, script_s):
        gas = {
            name: volume.gas(y[self.at[name]], y[self.at[name] + 1])
            for name, volume in self.volumes.items()
        }
        gas["source"] = (self.source_pa(script_s, t), self.outside[1])
        gas.setdefault("supply", gas["source"])
        return gas

    def rates(self, t, y, drive, script_s):
        gas = self.gases(t, y, script_s)
        streams = {name: [] for name in self.volumes}

        def connect(path, up, down, share=1.0):
            hot = self.outside if up == "outside" else gas[up]
            cold = self.outside if down == "outside" else gas[down]
            flow = share * reference_flow(path, self.air, hot, cold)
            if down in streams:
                streams[down].append((flow, hot[1]))
            if up in streams:
                streams[up].append((-flow, cold[1]))

        if self.plant.supply.volume:
            connect(self.plant.supply.line, "source", "supply")
        dy = np.zeros(len(y))
        if isinstance(self.plant, DirectPlant):
            self.connect_direct(y, dy, drive, connect)
            play_lag = None
        else:
            play_lag = self.connect_chain(gas, y, dy, drive, connect)
        drawn = self.consumption(script_s, gas["load"][0])
        streams["load"].append((-drawn, self.outside[1]))
        for name, volume in self.volumes.items():
            i = self.at[name]
            dy[i : i + 2] = volume.rates(gas[name], y[i], streams[name])
        if play_lag:
            dy[3] = self.play_rate(gas, y, dy)
        sensing = self.settings.sensing
        if sensing.pressure.lag_s:
            dy[0] = (gas[self.sensed_place()][0] - y[0]) / sensing.pressure.lag_s
        if sensing.supply.lag_s:
            dy[1] = (gas["supply"][0] - y[1]) / sensing.supply.lag_s
        return dy

    def connect_direct(self, y, dy, drive, connect):
        valve = self.plant.valve
        x = y[2] if valve.lag_s else drive
        if valve.lag_s:
            dy[2] = (drive - y[2]) / valve.lag_s
        # Within a tick x moves one way only, and y[3] holds the play before it.
        half = valve.hysteresis / 2.0
        x = clip(y[3], x - half, x + half)
        if x > 0.0:
            connect(valve.fill, "supply", "load", x)
        else:
            connect(valve.exhaust, "load", "outside", -x)
        connect(self.plant.bleed, "load", "outside")

    def pilot_pa(self, gas, y, drive):
        pilot = self.plant.pilot
        request = pilot.low_pa + clip(drive, 0, 1) * (pilot.high_pa - pilot.low_pa)
        request = min(max(request, self.air.atmosphere_pa), gas["supply"][0])
        return (y[4], (request - y[4]) / pilot.lag_s) if pilot.lag_s else (request, 0.0)

    def connect_chain(self, gas, y, dy, drive, connect):
        booster, pilot = self.plant.booster, self.plant.pilot
        if isinstance(pilot, PilotVolume):
            if drive > 0.0:
                connect(pilot.fill, "supply", "pilot", drive)
            else:
                connect(pilot.exhaust, "pilot", "outside", -drive)
            connect(pilot.bleed, "pilot", "outside")
        else:
            pilot_pa, dy[4] = self.pilot_pa(gas, y, drive)
            gas["pilot"] = (pilot_pa, self.outside[1])
        z = (gas["pilot"][0] - gas["outlet"][0]) / booster.full_opening_pa
        half = booster.hysteresis / 2.0
        z = clip(y[3], z - half, z + half)
        target = math.copysign(
            clip((abs(z) - booster.dead_band) / (1.0 - booster.dead_band), 0.0, 1.0), z
        )
        opening = target
        if booster.lag_s:
            opening, dy[2] = y[2], (target - y[2]) / booster.lag_s
        if opening > 0.0:
            connect(booster.fill, "supply", "outlet", opening)
        else:
            connect(booster.exhaust, "outlet", "outside", -opening)
        connect(self.plant.tube, "outlet", "load")
        connect(self.plant.load_bleed, "load", "outside")
        return booster.hysteresis > 0.0

    def play_rate(self, gas, y, dy):
        """The play moves with z while z pushes it, else it rests."""
        full, half = self.plant.booster.full_opening_pa, self.plant.booster.hysteresis / 2

        def rate(name):
            i = self.at[name]
            return self.volumes[name].pressure_rate(gas[name], y[i], dy[i : i + 2])

        pilot_rate = rate("pilot") if "pilot" in self.volumes else dy[4]
        z = (gas["pilot"][0] - gas["outlet"][0]) / full
        z_rate = (pilot_rate - rate("outlet")) / full
        pushed_up = z - half >= y[3] and z_rate > 0.0
        pushed_down = z + half <= y[3] and z_rate < 0.0
        return z_rate if pushed_up or pushed_down else 0.0

    def run(self, drives, tick_s):
        """Yield (load Pa, sensed Pa, sensed supply Pa) after each tick."""
        y = np.array(self.start)
        scale = np.array([1e5, 1e5, 1.0, 1.0, 1e5, *[1.0] * (len(y) - 5)])
        for name, volume in self.volumes.items():
            scale[self.at[name] : self.at[name] + 2] = volume.start
        for k, drive in enumerate(drives):
            span = (k * tick_s, (k + 1) * tick_s)
            y = solve_ivp(
                self.rates, span, y, "LSODA", rtol=1e-9, atol=1e-10 * scale,
                args=(drive, k * tick_s),
            ).y[:, -1]
            if isinstance(self.plant, DirectPlant):
                valve = self.plant.valve
                x = y[2] if valve.lag_s else drive
                y[3] = clip(y[3], x - valve.hysteresis / 2, x + valve.hysteresis / 2)
            gas = self.gases(span[1], y, (k + 1) * tick_s)
            sensing = self.settings.sensing
            sensed = y[0] if sensing.pressure.lag_s else gas[self.sensed_place()][0]
            supply = y[1] if sensing.supply.lag_s else gas["supply"][0]
            yield gas["load"][0], sensed, supply


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
        # A play without lag of pilot or booster has no derivative to follow.
        hysteresis=0.1 if number % 2 and (is_volume or has_lag) else 0.0,
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


def worst_of_span(settings, drives, tick_s):
    """Largest errors of load, sensed and sensed supply pressure, of span."""
    plant, reference = Plant(settings, tick_s), ReferencePlant(settings)
    span_pa = settings.arrangement.supply.pressure_pa - 101_325.0
    worst = np.zeros(3)
    moved = 0.0
    for drive, expected in zip(drives, reference.run(drives, tick_s), strict=True):
        plant.advance(drive)
        counts = plant.sense()
        sensed = [TOP_PA * count / FULL_COUNTS for count in counts]
        found = np.array([plant.pressures_pa().load, *sensed])
        worst = np.maximum(worst, abs(found - expected) / span_pa)
        moved = max(moved, plant.pressures_pa().load - 101_325.0)
    assert moved > 0.05 * span_pa, "the load never moved: nothing was compared"
    return worst


@pytest.mark.parametrize("number", range(12))
def test_direct_follows_the_adaptive_solver(number):
    tick_s = (0.005, 0.01, 0.02)[number % 3]
    ticks = round(1.4 / tick_s)
    worst = worst_of_span(drawn_direct(number), drawn_drives(number, ticks), tick_s)
    print(number, worst)
    assert max(worst) < ALLOWED_OF_SPAN


@pytest.mark.parametrize("number", range(12))
def test_chain_follows_the_adaptive_solver(number):
    tick_s = (0.01, 0.02)[number % 2]
    ticks = round(1.4 / tick_s)
    worst = worst_of_span(drawn_chain(number), drawn_drives(number, ticks), tick_s)
    print(number, worst)
    assert max(worst) < ALLOWED_OF_SPAN
