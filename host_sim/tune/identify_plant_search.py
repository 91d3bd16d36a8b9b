"""The search for arrangement A's volume, conductances and lag."""

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Literal

import numpy as np
from scipy.optimize import least_squares

from host_sim.errors import InputError
from host_sim.measure.curve import FloatArray
from host_sim.plant.settings import DirectPlant, Sensing
from host_sim.tune.identify_intervals import Evidence
from host_sim.tune.identify_plant_run import PlantRun
from host_sim.tune.identify_signal import (
    Step,
    change_windows_s,
    find_steps,
    held_input,
    quantum_of,
    recorded_input,
)
from host_sim.tune.models import HeldInput
from host_sim.tune.record import Record

Known = Literal["volume", "conductance", "consumption"]

FILL = "fill_per_volume_1_s_pa"
EXHAUST = "exhaust_per_volume_1_s_pa"
VOLUME = "volume_m3"
LAG = "valve_lag_s"
START = "start_pa"
CONDUCTANCES = {FILL: "fill_m3_s_pa", EXHAUST: "exhaust_m3_s_pa"}

_FARTHEST = math.log(300.0)
_GUESSES = (0.1, 0.3, 1.0, 3.0, 10.0)
_SHORTEST_LAG = 0.25
_MOST_STEPS = 4
_LOG_STEP = 3e-3
_START_STEP_PA = 50.0
_USED = 0.02


class PlantSearch:
    """The search for a plant.

    A ``point`` has one entry for each of `names`. Ratios and volume stand as
    logarithms, the lag in seconds, the pressure at the start in pascal.
    """

    def __init__(
        self,
        record: Record,
        plant: DirectPlant,
        sensing: Sensing,
        known: Known,
        each_run: Callable[[str], None] | None,
    ) -> None:
        self.record, self.plant, self.known = record, plant, known
        self.each_run, self.runs = each_run, 0
        self._last: tuple[FloatArray, FloatArray] | None = None
        self.shortest_lag_s = _SHORTEST_LAG * record.interval_s
        self.run = PlantRun(record, sensing)
        levels = held_input(record)
        self.steps = find_steps(levels, record.interval_s)
        if not self.steps:
            raise InputError(
                f"{record.file}: no step: {record.signal.name!r} stands still; record "
                "some rest, then steps that fill and steps that vent"
            )
        # A play remembers each flutter of the drive, a dither overcomes it.
        self.held = recorded_input(record)
        slack = _USED * float(np.ptp(levels.levels))
        self.fills = bool(levels.levels.max() > slack)
        self.vents = bool(levels.levels.min() < -slack)
        self.names = [
            *([FILL] if self.fills else []),
            *([EXHAUST] if self.vents else []),
            *([VOLUME] if known == "consumption" else []),
            LAG,
            START,
        ]

    def _start(self, factor: float) -> FloatArray:
        """Guess the scenario's plant, its valve larger by a factor."""
        valve, volume_m3 = self.plant.valve, self.plant.load.volume_m3
        rest = self.record.time_s < self.steps[0].start_s
        guesses = {
            FILL: math.log(factor * valve.fill.conductance_m3_s_pa / volume_m3),
            EXHAUST: math.log(factor * valve.exhaust.conductance_m3_s_pa / volume_m3),
            VOLUME: math.log(volume_m3),
            LAG: max(valve.lag_s, 2.0 * self.shortest_lag_s),
            START: float(self.record.pressure_pa[rest].mean()),
        }
        return np.array([guesses[name] for name in self.names])

    def arrangement(self, point: FloatArray) -> DirectPlant:
        """Build the plant of a point."""
        plant, at = self.plant, dict(zip(self.names, point.tolist(), strict=True))
        weights, constant = self._log_volume()
        volume_m3 = math.exp(float(weights @ point) + constant)
        fill, exhaust = plant.valve.fill, plant.valve.exhaust
        if FILL in at:
            fill = replace(fill, conductance_m3_s_pa=math.exp(at[FILL]) * volume_m3)
        if EXHAUST in at:
            conductance = math.exp(at[EXHAUST]) * volume_m3
            exhaust = replace(exhaust, conductance_m3_s_pa=conductance)
        valve = replace(plant.valve, fill=fill, exhaust=exhaust, lag_s=at[LAG])
        load = replace(plant.load, volume_m3=volume_m3, start_pressure_pa=at[START])
        supply = self.run.supply(plant.supply)
        return replace(plant, valve=valve, load=load, supply=supply)

    def fitted_pa(self, point: FloatArray, held: HeldInput | None = None) -> FloatArray:
        """Simulate the plant of a point."""
        if held is None and self._last and np.array_equal(self._last[0], point):
            return self._last[1]
        fitted_pa = self.run.pressures_pa(self.arrangement(point), held or self.held)
        self.runs += 1
        if self.each_run:
            self.each_run(f"run {self.runs} of the plant")
        if held is None:
            self._last = (point.copy(), fitted_pa)
        return fitted_pa

    def _residuals_pa(self, point: FloatArray) -> FloatArray:
        return self.fitted_pa(point) - self.record.pressure_pa

    def _widths(self) -> FloatArray:
        """Return the difference step of each entry of a point."""
        lag_step_s = 0.05 * self.record.interval_s
        widths = {LAG: lag_step_s, START: _START_STEP_PA}
        return np.array([widths.get(name, _LOG_STEP) for name in self.names])

    def jacobian(self, point: FloatArray) -> FloatArray:
        """Slopes of the pressure by forward differences."""
        base_pa = self.fitted_pa(point)
        columns = []
        for k, width in enumerate(self._widths()):
            moved = point.copy()
            moved[k] += width
            columns.append((self.fitted_pa(moved) - base_pa) / width)
        self._last = (point.copy(), base_pa)
        return np.column_stack(columns)

    def minimise(self) -> FloatArray:
        """Find the point of the least sum of squares."""
        starts = [self._start(factor) for factor in _GUESSES]
        costs = [float(np.sum(self._residuals_pa(start) ** 2)) for start in starts]
        start = starts[int(np.argmin(costs))]
        low, high = start - _FARTHEST, start + _FARTHEST
        lag, first = self.names.index(LAG), self.names.index(START)
        low[lag] = self.shortest_lag_s
        high[lag] = max(0.5 * float(self.record.time_s[-1]), 2.0 * low[lag])
        low[first], high[first] = 0.5 * start[first], 2.0 * start[first]
        found = least_squares(
            self._residuals_pa,
            start,
            self.jacobian,
            (low, high),
            x_scale="jac",
            xtol=1e-6,
            ftol=1e-8,
            gtol=1e-12,
        )
        return np.asarray(found.x)

    def evidence(self, point: FloatArray) -> Evidence:
        """Collect what intervals are computed from."""
        residuals_pa = self._residuals_pa(point)
        fitted_pa = residuals_pa + self.record.pressure_pa
        largest = sorted(self.steps, key=lambda step: -abs(step.size))[:_MOST_STEPS]
        everything = np.ones_like(self.held.times_s)
        late_pa = self._moved_pa(point, everything)
        # One step alone is all there is to move.
        moved_pa = [
            self._moved_pa(point, _inside(self.held, step))
            if len(largest) > 1
            else late_pa
            for step in largest
        ]
        return Evidence(
            jacobian=self.jacobian(point),
            residuals_pa=residuals_pa,
            fitted_pa=fitted_pa,
            quantum_pa=quantum_of(self.record.pressure_pa),
            moved_pa=np.column_stack(moved_pa),
            late_pa=late_pa,
            # The drive acts as it was recorded, noise and all.
            levels_pa=np.empty((len(fitted_pa), 0)),
        )

    def _moved_pa(self, point: FloatArray, shares: FloatArray) -> FloatArray:
        """Change of the fit if changes came later, in windows."""
        fitted_pa = self.fitted_pa(point)
        shift_s = 0.5 * shares * change_windows_s(self.record, self.held)
        late = HeldInput(self.held.times_s + shift_s, self.held.levels)
        return 2.0 * (self.fitted_pa(point, late) - fitted_pa)

    def logarithms(self) -> dict[str, tuple[FloatArray, float]]:
        """Logarithm of each quantity: weights of a point, and a constant.

        ``ln C = ln(C/V) + ln V``, with V known, or from the known C, or found.
        """
        ratios = {
            name: self.unit(name) for name in (FILL, EXHAUST) if name in self.names
        }
        volume = self._log_volume()
        found = {name: (weights, 0.0) for name, weights in ratios.items()}
        found[VOLUME] = volume
        for name, weights in ratios.items():
            found[CONDUCTANCES[name]] = (weights + volume[0], volume[1])
        # What is known depends on nothing.
        return {name: pair for name, pair in found.items() if pair[0].any()}

    def _log_volume(self) -> tuple[FloatArray, float]:
        valve = self.plant.valve
        if self.known == "consumption":
            return self.unit(VOLUME), 0.0
        if self.known == "volume":
            return 0.0 * self.unit(LAG), math.log(self.plant.load.volume_m3)
        if self.fills:
            return -self.unit(FILL), math.log(valve.fill.conductance_m3_s_pa)
        return -self.unit(EXHAUST), math.log(valve.exhaust.conductance_m3_s_pa)

    def unit(self, name: str) -> FloatArray:
        """Return the direction of one entry of a point."""
        return np.array([1.0 if name == other else 0.0 for other in self.names])


def _inside(held: HeldInput, step: Step) -> FloatArray:
    inside = (held.times_s >= step.start_s) & (held.times_s <= step.end_s)
    return inside.astype(np.float64)
