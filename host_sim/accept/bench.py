"""A rig with its recorder: hold a current, or wait until the pressure rests."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from host_sim.accept.figures import Figure
from host_sim.accept.rig import Rig, Sample
from host_sim.accept.rows import Rows, Segment
from host_sim.measure.static_table import StaticRange

READ, UNSETTLED = "read", "unsettled"
"""Purposes of the rows that a reading is the mean of."""


@dataclass(frozen=True)
class Rest:
    """When a pressure counts as at rest.

    Two neighbouring means over half of ``window_s`` differ by less than
    ``band_percent`` of span, after ``least_s`` and before ``most_s``; then it
    is read for ``reading_s``.
    """

    window_s: float = 1.0
    band_percent: float = 0.02
    least_s: float = 1.5
    most_s: float = 20.0
    reading_s: float = 0.5


class Bench:
    """A rig, the range it is held against, and the rows so far.

    Parameters
    ----------
    rig : Rig
    span : StaticRange
        What current means what pressure.
    rest : Rest
    each_tick : callable, optional
        Called with the number of ticks done, for a progress bar.
    """

    def __init__(
        self,
        rig: Rig,
        span: StaticRange,
        rest: Rest | None = None,
        each_tick: Callable[[int], None] | None = None,
    ) -> None:
        self.rig, self.span, self.rest = rig, span, rest or Rest()
        self.rows = Rows()
        self._ticks = 0
        self._each_tick = each_tick

    def tick(self, current_ma: float, mark: str) -> Sample:
        """Do and record one tick."""
        sample = self.rig.tick(current_ma)
        self.rows.take(self._ticks * self.rig.tick_s, current_ma, sample, mark)
        self._ticks += 1
        if self._each_tick is not None:
            self._each_tick(self._ticks)
        return sample

    def ticks_in(self, duration_s: float) -> int:
        """Whole ticks of a duration, at least 1."""
        return max(round(duration_s / self.rig.tick_s), 1)

    def hold(self, input_percent: float, duration_s: float, mark: str) -> float:
        """Hold an input; return the mean pressure of the last half [Pa]."""
        current_ma = self.span.current_at_ma(input_percent)
        pressures = [
            self.tick(current_ma, mark).pressure_pa
            for _ in range(self.ticks_in(duration_s))
        ]
        return float(np.mean(pressures[len(pressures) // 2 :]))

    def read(self, input_percent: float, label: str) -> float:
        """Hold an input until the pressure rests, then read it.

        Its rows are marked "settle", then `READ` or, after a time-out,
        `UNSETTLED`, each followed by the label.

        Returns
        -------
        float
            Mean pressure of the reading [Pa].
        """
        current_ma = self.span.current_at_ma(input_percent)
        least, most = (self.ticks_in(s) for s in (self.rest.least_s, self.rest.most_s))
        half = self.ticks_in(self.rest.window_s / 2.0)
        pressures: list[float] = []
        rests = False
        while not rests and len(pressures) < most:
            pressures.append(self.tick(current_ma, f"settle {label}").pressure_pa)
            count = len(pressures)
            # Half a window between two looks: closer ones see the same rows.
            if count >= max(least, 2 * half) and (count - least) % half == 0:
                rests = self._rests(pressures[-2 * half :], half)
        purpose = READ if rests else UNSETTLED
        readings = [
            self.tick(current_ma, f"{purpose} {label}").pressure_pa
            for _ in range(self.ticks_in(self.rest.reading_s))
        ]
        return float(np.mean(readings))

    def _rests(self, window_pa: list[float], half: int) -> bool:
        moved_pa = abs(np.mean(window_pa[:half]) - np.mean(window_pa[half:]))
        return bool(100.0 * moved_pa < self.rest.band_percent * self.span.span_pa)


class Sequence(Protocol):
    """One test: how to drive a rig, and what its rows tell."""

    @property
    def name(self) -> str:
        """Its name, also of its file."""

    @property
    def needs(self) -> tuple[type, ...]:
        """Abilities of a rig beyond `Rig`: protocols of `rig`."""

    @property
    def figures(self) -> tuple[str, ...]:
        """Names of the figures that it measures."""

    def run(self, bench: Bench) -> None:
        """Drive the bench's rig."""

    def evaluate(self, rows: Rows, span: StaticRange) -> list[Figure]:
        """Work the figures out from the rows alone."""


def readings(rows: Rows) -> list[Segment]:
    """Return the rows of all readings, settled or not."""
    return rows.segments(READ, UNSETTLED)


def unsettled_words(segments: list[Segment]) -> str:
    """Say how many readings had not come to rest; "" if all had."""
    count = sum(segment.purpose == UNSETTLED for segment in segments)
    return f"; {count} of {len(segments)} readings had not settled" if count else ""


def unable(sequence: Sequence, rig: Rig) -> list[Figure]:
    """Say of each figure that a rig cannot do its sequence; [] if it can."""
    missing = [need.__name__ for need in sequence.needs if not isinstance(rig, need)]
    if not missing:
        return []
    text = f"the rig is no {' and no '.join(missing)}"
    return [Figure(name, text, None) for name in sequence.figures]
