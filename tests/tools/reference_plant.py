"""The plant a second time, for an adaptive solver.

Written from the equations in `settings.py`, in mass and temperature where the
plant takes mass and energy; it shares no code with the plant.
"""

import math

import numpy as np
from scipy.integrate import LSODA, solve_ivp

from host_sim.plant.settings import (
    ChainPlant,
    DirectPlant,
    PilotLag,
    PilotVolume,
)

RTOL = 1e-9
ATOL = 1e-10
"""Of the size of each state."""
PLAY_PARTS = 120
"""Longest step of the solver behind a booster's play, as a part of a tick.

The play remembers where a step ended; one that turns within a step is a little
off: at most 7e-6 of span in the drawn plants, against four times as many.
"""


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


def clip(number, low, high):
    return max(low, min(number, high))


class ReferencePlant:
    """States: both sensor lags, opening, pilot lag, (kg, K) of each volume."""

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
        self.at = {name: 4 + 2 * i for i, name in enumerate(self.volumes)}
        supply = self.plant.supply
        supply_pa = supply.pressure_pa
        if supply.volume:
            supply_pa = supply.volume.start_pressure_pa
        place = self.sensed_place()
        start_pa = {
            name: v.volume.start_pressure_pa for name, v in self.volumes.items()
        }
        pilot = getattr(self.plant, "pilot", None)
        pilot_pa = pilot.start_pressure_pa if isinstance(pilot, PilotLag) else 0.0
        self.start = [start_pa[place], supply_pa, 0.0, pilot_pa]
        for volume in self.volumes.values():
            self.start += volume.start
        self.play = self.play_before = 0.0

    def sensed_place(self):
        chain = isinstance(self.plant, ChainPlant)
        return (
            "outlet" if chain and self.settings.sensing.location == "outlet" else "load"
        )

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
        else:
            self.connect_chain(gas, y, dy, drive, connect)
        drawn = self.consumption(script_s, gas["load"][0])
        streams["load"].append((-drawn, self.outside[1]))
        for name, volume in self.volumes.items():
            i = self.at[name]
            dy[i : i + 2] = volume.rates(gas[name], y[i], streams[name])
        sensing = self.settings.sensing
        if sensing.pressure.lag_s:
            dy[0] = (gas[self.sensed_place()][0] - y[0]) / sensing.pressure.lag_s
        if sensing.supply.lag_s:
            dy[1] = (gas["supply"][0] - y[1]) / sensing.supply.lag_s
        return dy

    def played(self, position, width):
        """Output of the play; it remembers the end of the solver's last step."""
        half = width / 2.0
        self.play = clip(self.play_before, position - half, position + half)
        return self.play

    def connect_direct(self, y, dy, drive, connect):
        valve = self.plant.valve
        x = y[2] if valve.lag_s else drive
        if valve.lag_s:
            dy[2] = (drive - y[2]) / valve.lag_s
        x = self.played(x, valve.hysteresis)
        if x > 0.0:
            connect(valve.fill, "supply", "load", x)
        else:
            connect(valve.exhaust, "load", "outside", -x)
        connect(self.plant.bleed, "load", "outside")

    def pilot_pa(self, gas, y, drive):
        pilot = self.plant.pilot
        request = pilot.low_pa + clip(drive, 0, 1) * (pilot.high_pa - pilot.low_pa)
        request = min(max(request, self.air.atmosphere_pa), gas["supply"][0])
        return (y[3], (request - y[3]) / pilot.lag_s) if pilot.lag_s else (request, 0.0)

    def connect_chain(self, gas, y, dy, drive, connect):
        booster, pilot = self.plant.booster, self.plant.pilot
        if isinstance(pilot, PilotVolume):
            if drive > 0.0:
                connect(pilot.fill, "supply", "pilot", drive)
            else:
                connect(pilot.exhaust, "pilot", "outside", -drive)
            connect(pilot.bleed, "pilot", "outside")
        else:
            pilot_pa, dy[3] = self.pilot_pa(gas, y, drive)
            gas["pilot"] = (pilot_pa, self.outside[1])
        z = (gas["pilot"][0] - gas["outlet"][0]) / booster.full_opening_pa
        z = self.played(z, booster.hysteresis)
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

    def solve(self, start_s, end_s, y, atol, args):
        """State at the end of a span with held inputs.

        The play of a valve is exact while its position moves one way, which a
        lag does between two changes of the drive; that of a booster is not.
        """
        booster = getattr(self.plant, "booster", None)
        if booster is None or booster.hysteresis == 0.0:
            span = (start_s, end_s)
            ended = solve_ivp(
                self.rates, span, y, "LSODA", rtol=RTOL, atol=atol, args=args
            ).y[:, -1]
        else:
            ended = self.solve_behind_play(start_s, end_s, y, atol, args)
        self.rates(end_s, ended, *args)
        self.play_before = self.play
        return ended

    def solve_behind_play(self, start_s, end_s, y, atol, args):
        def rates(t, y):
            return self.rates(t, y, *args)

        longest_s = (end_s - start_s) / PLAY_PARTS
        solver = LSODA(
            rates, start_s, y, end_s, max_step=longest_s, rtol=RTOL, atol=atol
        )
        while solver.status == "running":
            solver.step()
            rates(solver.t, solver.y)
            self.play_before = self.play
        assert solver.status == "finished", "the solver gave up"
        return solver.y

    def run(self, drives, tick_s):
        """Yield (load Pa, sensed Pa, sensed supply Pa) after each tick."""
        y = np.array(self.start)
        size = np.array([1e5, 1e5, 1.0, 1e5, *[1.0] * (len(y) - 4)])
        for name, volume in self.volumes.items():
            size[self.at[name] : self.at[name] + 2] = volume.start
        for k, drive in enumerate(drives):
            start_s, end_s = k * tick_s, (k + 1) * tick_s
            y = self.solve(start_s, end_s, y, ATOL * size, (drive, start_s))
            gas = self.gases(end_s, y, end_s)
            sensing = self.settings.sensing
            sensed = y[0] if sensing.pressure.lag_s else gas[self.sensed_place()][0]
            supply = y[1] if sensing.supply.lag_s else gas["supply"][0]
            yield gas["load"][0], sensed, supply
