"""The loops that the host benchmarks run, and draws of many like them."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np

from host_sim.law.settings import Gains
from host_sim.plant.settings import DirectPlant, DirectValve, Restriction
from host_sim.scenario.load import Scenario, load_scenario, shipped_scenario_path

CASE = Path(__file__).with_name("host_case.toml")

GAIN_FACTORS = (0.5, 1.5)
VOLUME_FACTORS = (0.7, 1.6)
CONDUCTANCE_FACTORS = (0.8, 1.3)
SAME_SUBSTEPS = (1.0, 1.3)
"""Factors on the valve's lag that leave the substeps of a tick at four."""


def load_case() -> Scenario:
    """Load the case that has peers."""
    return load_scenario(CASE)


def load_chain() -> Scenario:
    """Load the shipped press: supply line, pilot, booster, tube, load, noise."""
    return load_scenario(shipped_scenario_path())


def with_ticks(scenario: Scenario, ticks: int) -> Scenario:
    """Run a scenario's command, over and over, for so many ticks."""
    profile, period_s = scenario.profile, scenario.duration_s
    duration_s = ticks * scenario.law.tick_s
    turns = range(int(duration_s / period_s) + 1)
    longer = replace(
        profile,
        times_s=tuple(t + turn * period_s for turn in turns for t in profile.times_s),
        currents_ma=profile.currents_ma * len(turns),
    )
    return replace(scenario, profile=longer, duration_s=duration_s, ticks=ticks)


def draw_scenarios(
    scenario: Scenario,
    count: int,
    seed: int | tuple[int, ...],
    lag_factors: tuple[float, float] = SAME_SUBSTEPS,
) -> Iterator[Scenario]:
    """Draw loops with other gains and volumes; of arrangement A, other valves.

    Parameters
    ----------
    scenario : Scenario
        What the factors apply to.
    count : int
    seed : int or tuple of int
        The same seed gives the same loops.
    lag_factors : tuple of float
        Range of the factor on the valve's lag.

    Yields
    ------
    Scenario
    """
    random = np.random.default_rng(seed)
    for _ in range(count):
        yield _drawn(scenario, random, lag_factors)


def _drawn(
    scenario: Scenario, random: np.random.Generator, lag_factors: tuple[float, float]
) -> Scenario:
    pid, plant = scenario.law.pid, scenario.plant
    old = pid.gains
    p, i, d = random.uniform(*GAIN_FACTORS, 3).tolist()
    gains = Gains(p * old.kp, i * old.ki_per_s, d * old.kd_s)
    arrangement = plant.arrangement
    volume_m3 = arrangement.load.volume_m3 * random.uniform(*VOLUME_FACTORS)
    arrangement = replace(
        arrangement, load=replace(arrangement.load, volume_m3=volume_m3)
    )
    if isinstance(arrangement, DirectPlant):
        valve = _drawn_valve(arrangement.valve, random, lag_factors)
        arrangement = replace(arrangement, valve=valve)
    return replace(
        scenario,
        law=replace(scenario.law, pid=replace(pid, gains=gains)),
        plant=replace(plant, arrangement=arrangement),
    )


def _drawn_valve(
    valve: DirectValve, random: np.random.Generator, lag_factors: tuple[float, float]
) -> DirectValve:
    return replace(
        valve,
        fill=_drawn_path(valve.fill, random),
        exhaust=_drawn_path(valve.exhaust, random),
        lag_s=valve.lag_s * random.uniform(*lag_factors),
    )


def _drawn_path(path: Restriction, random: np.random.Generator) -> Restriction:
    factor = random.uniform(*CONDUCTANCE_FACTORS)
    return replace(path, conductance_m3_s_pa=factor * path.conductance_m3_s_pa)
