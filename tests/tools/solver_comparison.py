"""A drawn plant beside the adaptive solver, at every tick."""

from dataclasses import dataclass

import numpy as np
from drawn_plants import TOP_PA, drawn_case
from reference_plant import ReferencePlant

from host_sim.plant.error_estimate import error_estimate_pa

FULL_COUNTS = 32767


@dataclass(frozen=True)
class Comparison:
    """Largest errors and the load's estimate, in shares of span.

    Span is the source less the atmosphere; ``moved`` is how far the load went.
    """

    substeps: int
    load: float
    sensed: float
    sensed_supply: float
    estimate: float
    moved: float

    @property
    def worst(self) -> float:
        return max(self.load, self.sensed, self.sensed_supply)


def watch(plant, drives):
    """(load Pa, sensed Pa, sensed supply Pa) after each tick, one row each."""
    seen = np.empty((len(drives), 3))
    for k, drive in enumerate(drives):
        plant.advance(drive)
        sensed_pa = [TOP_PA * counts / FULL_COUNTS for counts in plant.sense()]
        seen[k] = plant.pressures_pa().load, *sensed_pa
    return seen


def solve(case):
    """The same from the adaptive solver."""
    return np.array([*ReferencePlant(case.settings).run(case.drives, case.tick_s)])


def compare(arrangement, number):
    case, runs = drawn_case(arrangement, number), []

    def run(plant, drives):
        seen = watch(plant, drives)
        runs.append((plant.substeps, seen))
        return seen[:, 0]

    estimate_pa = error_estimate_pa(case.settings, case.tick_s, case.drives, run)
    exact = solve(case)
    substeps, seen = runs[0]
    errors_pa = np.abs(seen - exact).max(axis=0)
    moved_pa = np.abs(exact[:, 0] - exact[0, 0]).max()
    shares = np.array([*errors_pa, estimate_pa, moved_pa]) / case.span_pa
    return Comparison(substeps, *shares.tolist())
