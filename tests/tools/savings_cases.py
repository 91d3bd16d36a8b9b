"""Responses and assumptions made for tests of savings, without simulation."""

import numpy as np

from host_sim.measure.effort import AirUse
from host_sim.measure.step_metrics import measure_steps
from host_sim.scenario.units import STANDARD
from host_sim.size.savings_assumptions import Assumptions, Stated
from host_sim.size.savings_range import Range
from host_sim.size.savings_response import CycleResponse, time_outside_s

TOLERANCE_PA = 5e3
STEPS = ((1.0, 1e5, 3e5), (11.0, 3e5, 2e5))
DURATION_S = 21.0


def first_order(lag_s, steps=STEPS, duration_s=DURATION_S):
    """Follow each step with a first-order lag; sampled every 10 ms."""
    time_s = np.arange(0.0, duration_s + 0.005, 0.01)
    pressure_pa = np.full_like(time_s, steps[0][1])
    for start_s, _, to_pa in steps:
        now = time_s >= start_s
        begun_pa = pressure_pa[now][0]
        decay = np.exp(-(time_s[now] - start_s) / lag_s)
        pressure_pa[now] = to_pa + (begun_pa - to_pa) * decay
    return time_s, pressure_pa


def response(lag_s, air_kg=0.03, name="", steps=STEPS, duration_s=DURATION_S):
    """Measure a first-order response as a cycle; air ``None`` makes it a record."""
    time_s, pressure_pa = first_order(lag_s, steps, duration_s)
    metrics = tuple(measure_steps(time_s, pressure_pa, steps, band_pa=TOLERANCE_PA))
    return CycleResponse(
        name=name or f"lag {lag_s:g} s",
        simulated=air_kg is not None,
        steps=metrics,
        duration_s=duration_s,
        outside_s=sum(
            time_outside_s(time_s[window], pressure_pa[window] - to_pa, TOLERANCE_PA)
            for window, to_pa in (
                ((time_s >= 1.0) & (time_s < 11.0), 3e5),
                (time_s >= 11.0, 2e5),
            )
        ),
        air=None if air_kg is None else AirUse(air_kg, 1e3 * air_kg / 1.185),
        pressure_unit="bar absolute",
        basis=STANDARD,
        notes=(),
    )


PRICES = {
    "cycles_per_year": (90e3, 100e3, 120e3),
    "machine_hour_cost": (20 / 3600, 40 / 3600, 50 / 3600),
    "labour_hour_cost": (20 / 3600, 30 / 3600, 30 / 3600),
    "air.price": (0.02 / 1.185, 0.03 / 1.185, 0.05 / 1.185),
    "material.flow": (1e-4, 2e-4, 4e-4),
    "material.price": (3.0, 3.0, 3.0),
    "investment": (1000.0, 2000.0, 4000.0),
}


def assume(prices=PRICES, uncertainty=0.03, step_time="tolerance"):
    """State prices by key path, each as (low, expected, high) in SI."""
    return Assumptions(
        file="assumed.toml",
        title="assumed",
        currency="credits",
        step_time=step_time,
        tolerance="50 mbar",
        tolerance_pa=TOLERANCE_PA,
        uncertainty=uncertainty,
        recorded_range_pa=None,
        stated={
            name: Stated(tuple(map(str, ends)), Range(*ends))
            for name, ends in prices.items()
        },
        basis=STANDARD,
    )
