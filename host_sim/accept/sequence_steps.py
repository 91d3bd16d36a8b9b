"""Step responses between several levels."""

from collections.abc import Callable
from dataclasses import dataclass

from host_sim.accept.bench import Bench
from host_sim.accept.figures import NEVER, Figure
from host_sim.accept.rows import Rows, Segment
from host_sim.measure.curve import first_rise_to
from host_sim.measure.static_table import StaticRange
from host_sim.measure.step_metrics import StepMetrics, measure_step

STEP = "step"
FIRST_SHARE = 0.02
"""A step has begun to act when the pressure has gone this share of it."""


@dataclass(frozen=True)
class Answer:
    """What one step did: its name, its metrics, its dead time [s]."""

    name: str
    metrics: StepMetrics
    dead_time_s: float | None


@dataclass(frozen=True)
class StepSequence:
    """Steps between inputs in percent, each watched for ``watch_s``."""

    steps: tuple[tuple[float, float], ...] = (
        (10.0, 90.0),
        (90.0, 10.0),
        (40.0, 60.0),
        (60.0, 40.0),
        (50.0, 55.0),
        (55.0, 50.0),
    )
    watch_s: float = 6.0
    name: str = "steps"
    needs: tuple[type, ...] = ()
    figures: tuple[str, ...] = (
        "dead_time",
        "rise_time",
        "settling_time",
        "overshoot",
        "steady_error",
    )

    def run(self, bench: Bench) -> None:
        """Come to rest at each first level, then step and watch."""
        for start, end in self.steps:
            bench.read(start, f"{start!r}")
            bench.hold(end, self.watch_s, f"{STEP} {start!r} {end!r}")

    def evaluate(self, rows: Rows, span: StaticRange) -> list[Figure]:
        """Measure every step; the worst of each kind is the figure."""
        answers = [_answer(segment, span) for segment in rows.segments(STEP)]
        if not answers:
            return [Figure(name, "no step was recorded", None) for name in self.figures]
        span_percent = 100.0 / span.span_pa
        return [
            _worst("dead_time", answers, lambda a: a.dead_time_s, NEVER),
            _worst("rise_time", answers, lambda a: a.metrics.rise_time_s, NEVER),
            _worst("settling_time", answers, lambda a: a.metrics.settling_2_s, NEVER),
            _worst("overshoot", answers, lambda a: a.metrics.overshoot_percent, None),
            _worst(
                "steady_error",
                answers,
                lambda a: _scaled(a.metrics.steady_error_pa, span_percent),
                None,
            ),
        ]


def _scaled(number: float | None, factor: float) -> float | None:
    return None if number is None else number * factor


def _answer(segment: Segment, span: StaticRange) -> Answer:
    _, start, end = segment.words
    from_pa, to_pa = (
        float(span.pressure_pa[0])
        + float(percent) / 100.0 * (span.pressure_pa[1] - span.pressure_pa[0])
        for percent in (start, end)
    )
    time_s = segment.time_s - segment.time_s[0]
    first_pa = segment.pressure_pa[0]
    progress = (segment.pressure_pa - first_pa) / (to_pa - first_pa)
    return Answer(
        name=f"{float(start):g} -> {float(end):g} %",
        metrics=measure_step(time_s, segment.pressure_pa, from_pa, to_pa, 0.0),
        dead_time_s=first_rise_to(time_s, progress, FIRST_SHARE),
    )


def _worst(
    name: str,
    answers: list[Answer],
    pick: Callable[[Answer], float | None],
    otherwise: float | None,
) -> Figure:
    """Find the largest by size; a step that has none gives ``otherwise``."""
    worst, where = 0.0, answers[0]
    for answer in answers:
        number = pick(answer)
        if number is None:
            text = f"{answer.name}: not within {answer.metrics.duration_s:.3g} s"
            return Figure(name, text, otherwise)
        if abs(number) > abs(worst):
            worst, where = number, answer
    return Figure(name, where.name, worst)
