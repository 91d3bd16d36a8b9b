"""The simulator's own plant run on a recorded drive."""

from dataclasses import replace

import numpy as np

from host_sim.measure.curve import FloatArray
from host_sim.plant import layout
from host_sim.plant.channel import FULL_COUNTS
from host_sim.plant.plant import Plant
from host_sim.plant.settings import (
    Channel,
    DirectPlant,
    PlantSettings,
    Sensing,
    Supply,
)
from host_sim.tune.models import HeldInput
from host_sim.tune.record import Record

# Beyond any pressure, so that the ideal channel of a fit never saturates.
_TOP_PA = 1e8
_MANY_ROWS = 1500
"""From so many rows on, one tick a row must do."""


class PlantRun:
    """Arrangement A behind a recorded drive, asked again and again.

    Ticks are half the usual interval of the rows, of many rows all of it; a drive
    that changes within a tick acts with its average. The converter is ideal:
    noise and resolution are the record's.

    Parameters
    ----------
    record : Record
        Its supply, if recorded, is what stands at the valve.
    sensing : Sensing
        Lag and delay of the pressure sensor.
    """

    def __init__(self, record: Record, sensing: Sensing) -> None:
        channel = replace(sensing.pressure, low=0.0, high=_TOP_PA, bits=None)
        channel = replace(channel, noise=0.0, drift_per_s=0.0)
        self._sensing = Sensing(channel, Channel(0.0, _TOP_PA, None))
        self._record = record
        ticks_a_row = 2.0 if len(record.time_s) < _MANY_ROWS else 1.0
        self.tick_s = record.interval_s / ticks_a_row
        self._ticks = int(np.ceil(record.time_s[-1] / self.tick_s)) + 1

    def supply(self, otherwise: Supply) -> Supply:
        """Return the recorded supply, or another where none was recorded."""
        supply_pa = self._record.supply_pa
        if supply_pa is None:
            return otherwise
        times_s = self._record.time_s.tolist()
        changes = tuple(zip(times_s, supply_pa.tolist(), strict=True))
        return Supply(float(supply_pa[0]), changes)

    def pressures_pa(self, arrangement: DirectPlant, held: HeldInput) -> FloatArray:
        """Sensed pressure at every row of the record.

        Parameters
        ----------
        arrangement : DirectPlant
        held : HeldInput
            The drive, as a share of full opening; its first level has held for
            ever [-].

        Returns
        -------
        ndarray
            Straight between ticks [Pa].

        Raises
        ------
        InputError
            Settings that no plant has.
        """
        plant = Plant(PlantSettings(arrangement, sensing=self._sensing), self.tick_s)
        opening = float(held.levels[0])
        plant.body.state[layout.POSITION] = plant.body.state[layout.PLAY] = opening
        counts = []
        for drive in self._drives(held):
            counts.append(plant.sense()[0])
            plant.advance(drive)
        ticks_s = self.tick_s * np.arange(len(counts))
        sensed_pa = np.array(counts) * (_TOP_PA / FULL_COUNTS)
        return np.interp(self._record.time_s, ticks_s, sensed_pa)

    def _drives(self, held: HeldInput) -> list[float]:
        """Average drive of each tick, from the drive's integral."""
        edges_s = self.tick_s * np.arange(self._ticks + 1)
        corners_s = np.concatenate(([0.0], held.times_s, [edges_s[-1]]))
        areas = np.concatenate(([0.0], np.cumsum(held.levels * np.diff(corners_s))))
        drives: list[float] = (
            np.diff(np.interp(edges_s, corners_s, areas)) / self.tick_s
        ).tolist()
        return drives
