"""The peer in numpy: many loops of the case as arrays, one step for all at once."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bench.host_answer import Answer, FloatArray, IntArray
from bench.host_numpy_law import NumpyLaw
from bench.host_timing import core_clock
from host_sim.law.block import FULL
from host_sim.loop.kernel import BITS, HIGH, LOW
from host_sim.loop.rig import Rig
from host_sim.plant import layout
from host_sim.plant.channel import FULL_COUNTS
from host_sim.plant.exponential import (
    DECAY,
    FIRST,
    HALF_DECAY,
    HALF_GAIN,
    LAST,
    MIDDLE,
)

LAMINAR_FALL = 1e-3
State = tuple[FloatArray, FloatArray, FloatArray]


@dataclass(frozen=True)
class _Channel:
    """A converter; all loops share it."""

    low: float
    high: float
    level_counts: float

    def counts(self, measured: FloatArray) -> IntArray:
        share = (measured - self.low) / (self.high - self.low)
        counts = FULL_COUNTS * np.minimum(np.maximum(share, 0.0), 1.0)
        level = np.floor(counts / self.level_counts + 0.5)
        return np.floor(level * self.level_counts + 0.5).astype(np.int32)


class NumpyBags:
    """The case's plant, one array a quantity.

    Parameters
    ----------
    rigs : sequence of Rig
    """

    def __init__(self, rigs: Sequence[Rig]) -> None:
        params = np.stack([rig.body["params"] for rig in rigs], axis=-1)
        weights = np.stack([rig.body["coefficients"] for rig in rigs], axis=-1)
        weights = weights.reshape(LAST + 1, -1, len(rigs))
        self._valve = weights[:, layout.POSITION]
        self._sensor = weights[:, layout.SENSED]
        self._volume = weights[:, layout.LOAD]
        self._valve_rate = params[layout.LAG_RATE]
        self._sensor_rate = params[layout.SENSED_RATE]
        self._fill = params[layout.FILL : layout.FILL + 2]
        self._exhaust = params[layout.EXHAUST : layout.EXHAUST + 2]
        self._outside_pa = params[layout.ATMOSPHERE_PA]
        self._air_k = params[layout.AMBIENT_K]
        self._pa_per_kg_k = params[layout.LOAD_VOLUME + layout.PA_PER_KG_K]
        self.supply_pa = np.array([r.body["inputs"][layout.SOURCE_PA] for r in rigs])

    def load_pa(self, load_kg: FloatArray) -> FloatArray:
        """Pressure of the loads [Pa]."""
        load_pa: FloatArray = load_kg * self._air_k * self._pa_per_kg_k
        return load_pa

    def _rates(
        self, drive: FloatArray, opening: FloatArray, load_kg: FloatArray
    ) -> State:
        fills = opening > 0.0
        load_pa = self.load_pa(load_kg)
        other_pa = np.where(fills, self.supply_pa, self._outside_pa)
        coefficient, steepness = np.where(fills, self._fill, self._exhaust)
        high_pa = np.maximum(other_pa, load_pa)
        fall = np.abs(other_pa - load_pa) / high_pa
        place = np.maximum(1.0 - steepness * np.maximum(fall, LAMINAR_FALL), 0.0)
        factor = np.sqrt((1.0 - place * place) / self._air_k)
        factor = factor * np.minimum(fall * (1.0 / LAMINAR_FALL), 1.0)
        flow = coefficient * high_pa * factor
        inflow = np.abs(opening) * np.where(other_pa >= load_pa, flow, -flow)
        return self._valve_rate * drive, self._sensor_rate * load_pa, inflow

    def step(self, state: State, drive: FloatArray) -> State:
        """Do one exponential Runge-Kutta step of order 4."""
        opening, sensed_pa, load_kg = state
        valve, volume = self._valve, self._volume
        one = self._rates(drive, opening, load_kg)
        half = valve[HALF_DECAY] * opening + valve[HALF_GAIN] * one[0]
        half_kg = load_kg + volume[HALF_GAIN] * one[2]
        ahead = valve[HALF_DECAY] * half - valve[HALF_GAIN] * one[0]
        ahead_kg = half_kg - volume[HALF_GAIN] * one[2]
        two = self._rates(drive, half, half_kg)
        half = valve[HALF_DECAY] * opening + valve[HALF_GAIN] * two[0]
        half_kg = load_kg + volume[HALF_GAIN] * two[2]
        three = self._rates(drive, half, half_kg)
        ahead = ahead + 2.0 * valve[HALF_GAIN] * three[0]
        ahead_kg = ahead_kg + 2.0 * volume[HALF_GAIN] * three[2]
        four = self._rates(drive, ahead, ahead_kg)
        rates = list(zip(one, two, three, four, strict=True))
        return (
            valve[DECAY] * opening + _all_of(valve, *rates[0]),
            self._sensor[DECAY] * sensed_pa + _all_of(self._sensor, *rates[1]),
            load_kg + _all_of(volume, *rates[2]),
        )


def _all_of(
    weights: FloatArray,
    one: FloatArray,
    two: FloatArray,
    three: FloatArray,
    four: FloatArray,
) -> FloatArray:
    total: FloatArray = (
        weights[FIRST] * one
        + weights[MIDDLE] * two
        + weights[MIDDLE] * three
        + weights[LAST] * four
    )
    return total


def run_numpy(rigs: Sequence[Rig], ticks: int) -> tuple[float, Answer]:
    """Run loops of the case's kind from their start, all together.

    Parameters
    ----------
    rigs : sequence of Rig
        With the same converters, commands and substeps.
    ticks : int

    Returns
    -------
    float
        Seconds that it took.
    Answer
        One column a loop.
    """
    first, bags = rigs[0], NumpyBags(rigs)
    law = NumpyLaw([rig.words for rig in rigs], [rig.block for rig in rigs])
    slots = (layout.POSITION, layout.SENSED, layout.LOAD)
    starts = np.stack([rig.body["state"][list(slots)] for rig in rigs], axis=-1)
    state: State = (starts[0], starts[1], starts[2])
    current, pressure, supply = (
        _Channel(row[LOW], row[HIGH], FULL_COUNTS / ((1 << int(row[BITS])) - 1))
        for row in first.channels
    )
    load_pa, drives = (np.empty((ticks, len(rigs))) for _ in range(2))
    began = core_clock()
    for k in range(ticks):
        word = law.tick(
            current.counts(first.commands[k]),
            pressure.counts(state[1]),
            supply.counts(bags.supply_pa),
        )
        load_pa[k], drives[k] = bags.load_pa(state[2]), word / FULL
        for _ in range(first.substeps):
            state = bags.step(state, drives[k])
    return core_clock() - began, Answer(load_pa, drives, law.words)
