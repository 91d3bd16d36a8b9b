"""What a run leaves behind: one row a tick, every column with its unit."""

import csv
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

import numpy as np
import numpy.typing as npt

from host_sim.plant.plant import Plant

FloatArray = npt.NDArray[np.float64]


class Law(Protocol):
    """What the loop asks of a law: integer, float, or on a board."""

    target: float
    setpoint: float
    pressure: float
    compensation: float
    error: float
    proportional: float
    integral: float
    derivative: float
    feedforward: float
    request: float
    output: float
    drive: float

    @property
    def faults(self) -> tuple[str, ...]:
        """Names of the present faults."""

    def tick(
        self, current_counts: float, pressure_counts: float, supply_counts: float
    ) -> float:
        """Run one tick and return the drive."""


Reader = Callable[[Plant, Law, float, float], float]

COLUMNS: dict[str, Reader] = {
    "current_ma": lambda plant, law, current_ma, drive: current_ma,
    "target_percent": lambda plant, law, current_ma, drive: 100 * law.target,
    "setpoint_percent": lambda plant, law, current_ma, drive: 100 * law.setpoint,
    "measured_percent": lambda plant, law, current_ma, drive: 100 * law.pressure,
    "load_pa": lambda plant, law, current_ma, drive: plant.pressures_pa().load,
    "outlet_pa": lambda plant, law, current_ma, drive: plant.pressures_pa().outlet,
    "supply_pa": lambda plant, law, current_ma, drive: plant.pressures_pa().supply,
    "pilot_pa": lambda plant, law, current_ma, drive: plant.pressures_pa().pilot,
    "load_k": lambda plant, law, current_ma, drive: plant.temperatures_k().load,
    "opening_percent": lambda plant, law, current_ma, drive: 100 * plant.opening,
    "proportional_percent": lambda plant, law, current_ma, drive: (
        100 * law.proportional
    ),
    "integral_percent": lambda plant, law, current_ma, drive: 100 * law.integral,
    "derivative_percent": lambda plant, law, current_ma, drive: 100 * law.derivative,
    "output_percent": lambda plant, law, current_ma, drive: 100 * law.output,
    "drive_percent": lambda plant, law, current_ma, drive: 100 * drive,
    "air_used_kg": lambda plant, law, current_ma, drive: plant.air_used_kg,
    "faults": lambda plant, law, current_ma, drive: len(law.faults),
}


@dataclass(frozen=True)
class Run:
    """A recorded run: ``columns[name]`` has one number a tick.

    Row k holds what the tick k saw and decided; pressures are those at its
    start. Ticks are the truth, seconds are derived.
    """

    tick_s: float
    columns: dict[str, FloatArray]

    @property
    def ticks(self) -> int:
        """Number of ticks recorded."""
        return len(self.columns["load_pa"])

    @property
    def time_s(self) -> FloatArray:
        """Time of each tick's start [s]."""
        return np.arange(self.ticks, dtype=np.float64) * self.tick_s

    def write_csv(self, path: Path) -> None:
        """Write all columns, with tick and time first."""
        with path.open("w", newline="") as stream:
            writer = csv.writer(stream)
            writer.writerow(["tick", "time_s", *self.columns])
            rows = zip(self.time_s, *self.columns.values(), strict=True)
            for tick, row in enumerate(rows):
                writer.writerow([tick, *(f"{number:.10g}" for number in row)])


class Recorder:
    """Collects one row a tick."""

    def __init__(self) -> None:
        self._rows: list[tuple[float, ...]] = []

    def take(self, plant: Plant, law: Law, current_ma: float, drive: float) -> None:
        """Note one tick, after the law and before the plant moves."""
        self._rows.append(
            tuple(read(plant, law, current_ma, drive) for read in COLUMNS.values())
        )

    def run(self, tick_s: float) -> Run:
        """Return what has been collected."""
        table = np.array(self._rows, dtype=float).reshape(-1, len(COLUMNS))
        return Run(tick_s, dict(zip(COLUMNS, table.T.copy(), strict=True)))
