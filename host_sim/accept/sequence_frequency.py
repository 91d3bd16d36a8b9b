"""Frequency response by sine steps: one frequency after another."""

import itertools
import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from host_sim.accept.bench import Bench
from host_sim.accept.figures import Figure
from host_sim.accept.rows import Rows, Segment
from host_sim.errors import InputError
from host_sim.measure.curve import FloatArray
from host_sim.measure.static_table import StaticRange

SINE = "sine"
FEWEST_TICKS = 8
"""Ticks in a period, below which a sine is none."""
HALF_POWER_DB = -3.0
LAG_DEG = -90.0


class Point(NamedTuple):
    """Gain and phase of pressure over input at one frequency.

    The gain is 1 where the pressure moves as the range says.
    """

    frequency_hz: float
    gain: float
    phase_deg: float

    @property
    def gain_db(self) -> float:
        """Gain in decibels."""
        return 20.0 * math.log10(self.gain)


@dataclass(frozen=True)
class FrequencySequence:
    """Sines of ``amplitude_percent`` about ``middle_percent`` of the input.

    Each runs for ``lead_periods`` (and at least ``lead_s``) unmeasured, then
    for ``periods`` measured.
    """

    frequencies_hz: tuple[float, ...] = tuple(np.geomspace(0.1, 5.0, 12).tolist())
    middle_percent: float = 50.0
    amplitude_percent: float = 5.0
    lead_periods: float = 2.0
    lead_s: float = 2.0
    periods: float = 3.0
    name: str = "frequency"
    needs: tuple[type, ...] = ()
    figures: tuple[str, ...] = ("bandwidth", "phase_90_frequency", "resonance")

    def run(self, bench: Bench) -> None:
        """Give the sines, from the first frequency to the last."""
        self._check(bench.rig.tick_s)
        bench.read(self.middle_percent, "middle")
        for frequency_hz in self.frequencies_hz:
            lead_s = max(self.lead_periods / frequency_hz, self.lead_s)
            lead = bench.ticks_in(lead_s)
            measured = bench.ticks_in(self.periods / frequency_hz)
            for k in range(lead + measured):
                turn = 2.0 * math.pi * frequency_hz * k * bench.rig.tick_s
                percent = self.middle_percent + self.amplitude_percent * math.sin(turn)
                purpose = "lead" if k < lead else SINE
                current_ma = bench.span.current_at_ma(percent)
                bench.tick(current_ma, f"{purpose} {frequency_hz!r}")

    def evaluate(self, rows: Rows, span: StaticRange) -> list[Figure]:
        """Fit the fundamental at each frequency, then find the crossings."""
        points = response_points(rows, span)
        if not points:
            return [Figure(name, "no sine was recorded", None) for name in self.figures]
        first_db = points[0].gain_db
        peak = max(points, key=lambda point: point.gain)
        above = 100.0 * (peak.gain / points[0].gain - 1.0)
        return [
            _crossing(
                "bandwidth",
                points,
                [point.gain_db - first_db for point in points],
                HALF_POWER_DB,
            ),
            _crossing(
                "phase_90_frequency",
                points,
                [point.phase_deg for point in points],
                LAG_DEG,
            ),
            Figure("resonance", f"at {peak.frequency_hz:.3g} Hz", above),
        ]

    def _check(self, tick_s: float) -> None:
        highest_hz = 1.0 / (FEWEST_TICKS * tick_s)
        wrong = [f for f in self.frequencies_hz if not 0.0 < f <= highest_hz]
        if wrong or list(self.frequencies_hz) != sorted(set(self.frequencies_hz)):
            said = wrong[0] if wrong else "not rising"
            raise InputError(
                f"frequencies_hz: {said}; must rise within 0 ... {highest_hz:g} Hz, "
                f"{FEWEST_TICKS} ticks a period; leave the others out"
            )


def response_points(rows: Rows, span: StaticRange) -> list[Point]:
    """Fit gain and phase at every frequency of a record.

    ``x = c0 + c1 t + a cos wt + b sin wt`` by least squares, of current and of
    pressure; the response is the quotient of their phasors, over that of the
    range. The input counts as the samples that the device is given, so that
    half a tick of the hold is part of the response, as it is for a sine that
    the device samples itself.

    Parameters
    ----------
    rows : Rows
    span : StaticRange

    Returns
    -------
    list of Point
        Phases unwrapped from the first frequency on.

    Notes
    -----
    Source: common practice.
    """
    segments = rows.segments(SINE)
    frequencies_hz = [float(segment.words[1]) for segment in segments]
    low_ma, high_ma = span.current_ma
    per_ma = (span.pressure_pa[1] - span.pressure_pa[0]) / (high_ma - low_ma)
    responses = np.array(
        [
            _phasor(segment, segment.pressure_pa, frequency_hz)
            / _phasor(segment, segment.current_ma, frequency_hz)
            / per_ma
            for segment, frequency_hz in zip(segments, frequencies_hz, strict=True)
        ]
    )
    phases_deg = np.degrees(np.unwrap(np.angle(responses)))
    points = zip(frequencies_hz, np.abs(responses), phases_deg, strict=True)
    return [Point(f, float(gain), float(phase)) for f, gain, phase in points]


def _phasor(segment: Segment, signal: FloatArray, frequency_hz: float) -> complex:
    time_s = segment.time_s - segment.time_s[0]
    turn = 2.0 * math.pi * frequency_hz * time_s
    terms = np.column_stack((np.ones_like(turn), time_s, np.cos(turn), np.sin(turn)))
    found, *_ = np.linalg.lstsq(terms, signal, rcond=None)
    return complex(found[2], -found[3])


def _crossing(
    name: str, points: list[Point], heights: list[float], level: float
) -> Figure:
    """Find where a curve first falls through a level, straight over log f."""
    pairs = itertools.pairwise(zip(points, heights, strict=True))
    for (before, high), (after, low) in pairs:
        if high > level >= low:
            share = (high - level) / (high - low)
            ratio = after.frequency_hz / before.frequency_hz
            found_hz = before.frequency_hz * ratio**share
            ends = f"between {before.frequency_hz:.3g} and {after.frequency_hz:.3g} Hz"
            return Figure(name, ends, found_hz)
    if heights[0] <= level:
        return Figure(name, f"below {points[0].frequency_hz:.3g} Hz, the first", 0.0)
    last_hz = points[-1].frequency_hz
    return Figure(name, f"at least; not reached up to {last_hz:.3g} Hz", last_hz)
