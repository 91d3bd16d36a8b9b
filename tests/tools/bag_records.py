"""One press bag filled and vented open loop, and recorded (invented)."""

from dataclasses import replace

import numpy as np
from identify_records import as_record

from host_sim.plant.plant import Plant
from host_sim.plant.settings import Consumption, Supply
from host_sim.scenario.load import load_scenario, shipped_scenario_path
from host_sim.tune.models import HeldInput

FINE_PER_ROW = 10
STEPS_S = (0.5, 1.7, 2.5, 3.7, 4.5)
DRIVES = (0.0, 0.2, 0.0, -0.25, 0.0, 0.1)
DURATION_S = 5.5


def bag(volume_m3=0.01, fill=1.5e-8, exhaust=2e-8, lag_s=0.02, consumption=()):
    """Change the bench scenario: one bag, an ideal converter, an even supply."""
    scenario = load_scenario(shipped_scenario_path("press_bag_recorded.toml"))
    plant = scenario.plant.arrangement
    valve = replace(
        plant.valve,
        fill=replace(plant.valve.fill, conductance_m3_s_pa=fill),
        exhaust=replace(plant.valve.exhaust, conductance_m3_s_pa=exhaust),
        lag_s=lag_s,
        hysteresis=0.0,
    )
    load = replace(plant.load, volume_m3=volume_m3, start_pressure_pa=1.8e5)
    plant = replace(
        plant,
        valve=valve,
        load=load,
        supply=Supply(9.01325e5),
        consumption=Consumption(consumption),
    )
    pressure = replace(
        scenario.plant.sensing.pressure, bits=None, noise=0.0, drift_per_s=0.0
    )
    sensing = replace(scenario.plant.sensing, pressure=pressure)
    settings = replace(scenario.plant, arrangement=plant, sensing=sensing)
    return replace(scenario, plant=settings)


def bag_record(scenario, random, *, noise=0.005, interval_s=0.04, drives=DRIVES):
    """Record it; steps lie anywhere between rows, rows jitter by a fifth."""
    fine_s = interval_s / FINE_PER_ROW
    starts_s = np.array(STEPS_S) + interval_s * random.uniform(0.0, 1.0, len(STEPS_S))
    held = HeldInput(starts_s, np.array(drives))
    times_s = fine_s * np.arange(round(DURATION_S / fine_s))
    drive = held.at(times_s)
    plant, channel = Plant(scenario.plant, fine_s), scenario.plant.sensing.pressure
    readings_pa = []
    for opening in drive.tolist():
        share = plant.sense()[0] / 32767
        readings_pa.append(channel.low + share * (channel.high - channel.low))
        plant.advance(opening)
    rows = FINE_PER_ROW * np.arange(1, len(times_s) // FINE_PER_ROW)
    rows += random.integers(-2, 3, len(rows))
    rows[0] = 0
    pressure_pa = np.array(readings_pa)[rows]
    size_pa = noise * np.ptp(pressure_pa)
    pressure_pa += size_pa * random.standard_normal(len(rows))
    return as_record(times_s[rows], drive[rows], pressure_pa, "bag.csv")
