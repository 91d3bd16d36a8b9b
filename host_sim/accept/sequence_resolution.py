"""Resolution and dead band: how little input moves the pressure at all."""

from collections.abc import Sequence as Listed
from dataclasses import dataclass

import numpy as np

from host_sim.accept.bench import Bench, readings
from host_sim.accept.figures import NEVER, Figure
from host_sim.accept.rows import Rows, Segment
from host_sim.measure.static_table import StaticRange

ONWARD, BACK = "onward", "back"


@dataclass(frozen=True)
class ResolutionSequence:
    """Small equal increments onward, then back, at three points or more.

    Each point is approached from ``approach_percent`` below. The input then
    grows by ``increment_percent`` every ``dwell_s`` until the pressure has
    moved by ``moved_percent`` of span: the resolution; and falls again from
    there until it moves back: the dead band. Both are found to an increment,
    and include what ``moved_percent`` itself takes.
    """

    points_percent: tuple[float, ...] = (25.0, 50.0, 75.0)
    approach_percent: float = 5.0
    increment_percent: float = 0.05
    dwell_s: float = 1.0
    moved_percent: float = 0.04
    most_percent: float = 2.0
    name: str = "resolution"
    needs: tuple[type, ...] = ()
    figures: tuple[str, ...] = ("resolution", "dead_band")

    def run(self, bench: Bench) -> None:
        """Approach each point, then step onward and back."""
        for point in self.points_percent:
            bench.read(point - self.approach_percent, f"approach {point!r}")
            before_pa = bench.read(point, f"{ONWARD} {point!r}")
            reached = self._creep(bench, point, before_pa, ONWARD, +1.0)
            before_pa = bench.read(reached, f"{BACK} {point!r}")
            self._creep(bench, reached, before_pa, BACK, -1.0)

    def _creep(
        self, bench: Bench, start: float, before_pa: float, way: str, sign: float
    ) -> float:
        """Step the input until the pressure moves; return where it stands."""
        percent = start
        for k in range(1, round(self.most_percent / self.increment_percent) + 1):
            percent = start + sign * k * self.increment_percent
            now_pa = bench.hold(percent, self.dwell_s, f"{way} {start!r} {k}")
            if self._moved(before_pa, now_pa, bench.span):
                break
        return percent

    def _moved(self, before_pa: float, now_pa: float, span: StaticRange) -> bool:
        return 100.0 * abs(now_pa - before_pa) > self.moved_percent * span.span_pa

    def evaluate(self, rows: Rows, span: StaticRange) -> list[Figure]:
        """Find at each point the first increment that moved the pressure."""
        found: dict[str, list[tuple[float, float]]] = {ONWARD: [], BACK: []}
        starts = [s for s in readings(rows) if s.words[1] in found]
        segments = rows.segments(ONWARD, BACK)
        for start in starts:
            after = [s for s in segments if s.time_s[0] > start.time_s[-1]]
            way = start.words[1]
            moved = self._input_that_moves(start, after, way, span)
            found[way].append((moved, float(start.words[2])))
        return [
            self._largest("resolution", found[ONWARD]),
            self._largest("dead_band", found[BACK]),
        ]

    def _input_that_moves(
        self, start: Segment, after: Listed[Segment], way: str, span: StaticRange
    ) -> float:
        """Return the change of input at the first movement [% of input span]."""
        first = span.input_percent(start.current_ma)[0]
        for count, segment in enumerate(after, 1):
            if segment.purpose != way or int(segment.words[2]) != count:
                break
            half = len(segment.pressure_pa) // 2
            now_pa = float(np.mean(segment.pressure_pa[half:]))
            if self._moved(start.mean_pa, now_pa, span):
                return float(abs(span.input_percent(segment.current_ma)[0] - first))
        return NEVER

    def _largest(self, name: str, found: list[tuple[float, float]]) -> Figure:
        if not found:
            return Figure(name, "no point was recorded", None)
        moved, point = max(found)
        text = f"at {point:g} % input, to {self.increment_percent:g} %"
        if moved == NEVER:
            text = f"at {point:g} % input: not within {self.most_percent:g} %"
        return Figure(name, text, moved)
