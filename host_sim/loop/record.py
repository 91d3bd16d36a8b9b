"""What a run leaves behind: one row a tick, every column with its unit."""

import csv
from array import array
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

import numpy as np
import numpy.typing as npt

from host_sim.law.controller import FAULTS
from host_sim.plant import layout
from host_sim.plant.plant import NAN, Plant

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


LAW_COLUMNS = {
    "target_percent": "target",
    "setpoint_percent": "setpoint",
    "measured_percent": "pressure",
    "proportional_percent": "proportional",
    "integral_percent": "integral",
    "derivative_percent": "derivative",
    "output_percent": "output",
}
"""Column to the law's attribute, a fraction."""

PLANT_COLUMNS = {
    "load_pa": layout.LOAD,
    "outlet_pa": layout.OUTLET,
    "supply_pa": layout.SUPPLY,
    "pilot_pa": layout.PILOT,
    "load_k": layout.LOAD + 1,
    "opening": layout.POSITION,
}
"""Column to the place in the plant's view."""

COLUMNS = (
    "current_ma",
    *LAW_COLUMNS,
    "drive_percent",
    "fault_bits",
    *PLANT_COLUMNS,
    "air_used_kg",
)


def slots_of_view(size: int) -> dict[str, int]:
    """Find where a view shows each column; without a tube, outlet is load."""
    slots = {name: slot for name, slot in PLANT_COLUMNS.items() if slot < size}
    return {"outlet_pa": layout.LOAD, **slots}


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
        self._numbers = array("d")

    def take(self, plant: Plant, law: Law, current_ma: float, drive: float) -> None:
        """Note one tick, after the law and before the plant moves."""
        slots, view = slots_of_view(len(plant.body.view)), plant.body.view
        self._numbers.extend(
            (
                current_ma,
                *(100 * getattr(law, name) for name in LAW_COLUMNS.values()),
                100 * drive,
                sum(1 << FAULTS.index(name) for name in law.faults),
                *(
                    view[slots[name]] if name in slots else NAN
                    for name in PLANT_COLUMNS
                ),
                plant.air_used_kg,
            )
        )

    def run(self, tick_s: float) -> Run:
        """Return what has been collected."""
        table = np.frombuffer(self._numbers).reshape(-1, len(COLUMNS))
        return Run(tick_s, dict(zip(COLUMNS, table.T.copy(), strict=True)))
