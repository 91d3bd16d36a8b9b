"""One race: the quickest published rule against `tune`, on a family of machines."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from time import perf_counter, process_time

import numpy as np

from host_sim.errors import InputError
from host_sim.loop.batch import Watched, Window, run_batch
from host_sim.loop.rig import FloatArray
from host_sim.loop.watch import REACH_10, REACH_90
from host_sim.scenario.load import Scenario
from host_sim.scenario.tuning import Limits
from host_sim.tune.bench import Bench, Row, make_bench
from host_sim.tune.choice import Choice
from host_sim.tune.rest import MOST_REVERSALS
from host_sim.tune.trials import kept_words
from host_sim.tune.tune import Tuned, tune
from host_sim.tune.verify import verify

SEED = 1
FASTER = 0.25
"""Share of the rule's settling that a win saves at least."""
LEAST_OVERSHOOT = 0.01
"""Overshoot that a tuning may have against a rule with less: the settle band."""
WIDEST_MS = 10.0
"""Most that `limits.ms` takes in a scenario file."""
FULL_DRIVE = Choice(
    kc=100.0,
    ti_s=1000.0,
    td_s=0.0,
    filter_s=0.0,
    tracking_s=10.0,
    weight=1.0,
    deadband=0.0,
    strength=0.0,
)
"""Saturates until the pressure is within 1 % of the range."""

Progress = Callable[[str, float], None]


@dataclass(frozen=True)
class Worth:
    """What a tuning is worth on the worst machine, as of `host_sim.tune.bench.Row`."""

    name: str
    settling_s: float
    overshoot: float
    ms: float
    travel_strokes: float
    reversals: float
    unsettled: int


@dataclass(frozen=True)
class Check:
    """One machine run again, with the board's numbers, exactly, on a finer plant."""

    machine: str
    run: str
    settling_s: float | None
    overshoot: float


@dataclass(frozen=True)
class Race:
    """A race that was run.

    Attributes
    ----------
    terms : str
        Key of `TERMS`.
    rule : Worth or None
        None where no rule was fit to race.
    limits : Limits
        Those that the tuning had to hold.
    tuned : Worth or None
        None where no tuning held the limits; `refusal` says why.
    floor_s : float
        Settling that no law can beat on the worst machine, see `find_floor`.
    """

    machine: int
    arrangement: str
    terms: str
    rule: Worth | None
    limits: Limits
    tuned: Worth | None
    refusal: str
    checks: tuple[Check, ...]
    floor_s: float
    processor_s: float
    wall_s: float

    @property
    def verdict(self) -> str:
        """Won, lost, or no rule to race."""
        if self.rule is None:
            return "no rule"
        return "won" if self.has_won else "lost"

    @property
    def has_won(self) -> bool:
        """Whether the tuning is quicker by `FASTER` and holds all, checks included."""
        if self.rule is None or self.tuned is None:
            return False
        longest_s = (1.0 - FASTER) * self.rule.settling_s
        return self.tuned.settling_s <= longest_s and self.holds

    @property
    def holds(self) -> bool:
        """Whether the tuning settles and holds every limit, checks included."""
        tuned, limits = self.tuned, self.limits
        return (
            tuned is not None
            and tuned.unsettled == 0
            and tuned.overshoot <= limits.overshoot
            and tuned.ms <= limits.ms
            and tuned.travel_strokes <= limits.travel
            and tuned.reversals <= MOST_REVERSALS
            and len(self.checks) > 0
            and all(
                check.settling_s is not None and check.overshoot <= limits.overshoot
                for check in self.checks
            )
        )

    @property
    def gain(self) -> float | None:
        """Settling saved, as a share of the rule's."""
        if self.rule is None or self.tuned is None:
            return None
        return 1.0 - self.tuned.settling_s / self.rule.settling_s

    @property
    def is_possible(self) -> bool:
        """Whether the valves allow a win at all."""
        rule = self.rule
        return rule is not None and self.floor_s <= (1.0 - FASTER) * rule.settling_s


@dataclass(frozen=True)
class Terms:
    """Which rules may race, and under which limits the tuning does."""

    words: str
    may_race: Callable[[Row, Limits], bool]
    limits: Callable[[Limits, Row], Limits]


def _holds_ms_and_travel(row: Row, limits: Limits) -> bool:
    return row.ms <= limits.ms and row.travel <= limits.travel


def _raised(limits: Limits, row: Row) -> Limits:
    ms = max(limits.ms, min(row.ms, WIDEST_MS))
    return replace(limits, ms=ms, travel=max(limits.travel, row.travel))


TERMS = {
    "any": Terms("any rule", lambda row, limits: True, _raised),
    "held": Terms(
        "rules within Ms and travel",
        _holds_ms_and_travel,
        lambda limits, row: limits,
    ),
}


def quickest(rows: Sequence[Row], terms: Terms, limits: Limits) -> Row | None:
    """Choose the quickest rule that settles everywhere and may race."""
    fit = [row for row in rows if not row.unsettled and terms.may_race(row, limits)]
    return min(fit, key=lambda row: row.settling_s, default=None)


def race_machine(
    number: int, scenario: Scenario, progress: Progress
) -> tuple[Race, ...]:
    """Run both races of a machine.

    Parameters
    ----------
    number : int
        Of the machine.
    scenario : Scenario
    progress : callable
        Called with what is done now and the share of this machine done.
    """
    progress(f"machine {number}: asking the rules", 0.0)
    bench = make_bench(scenario)
    rows = bench.rule_rows()
    floor_s = find_floor(bench)
    return tuple(
        _race(number, bench, key, rows, floor_s, _half(progress, number, place))
        for place, key in enumerate(TERMS)
    )


def _half(progress: Progress, number: int, place: int) -> Progress:
    def tell(words: str, share: float) -> None:
        progress(f"machine {number}: {words}", (place + share) / len(TERMS))

    return tell


def _race(
    number: int,
    bench: Bench,
    key: str,
    rows: Sequence[Row],
    floor_s: float,
    progress: Progress,
) -> Race:
    scenario, terms = bench.scenario, TERMS[key]
    rule, limits = quickest(rows, terms, scenario.limits), scenario.limits
    if rule is not None:
        overshoot = max(LEAST_OVERSHOOT, rule.overshoot)
        limits = replace(terms.limits(limits, rule), overshoot=overshoot)
    tuned, refusal = None, ""
    began_s, used_s = perf_counter(), process_time()
    try:
        tuned = tune(replace(scenario, limits=limits), SEED, progress)
    except InputError as error:
        refusal = str(error)
    wall_s, processor_s = perf_counter() - began_s, process_time() - used_s
    return Race(
        machine=number,
        arrangement=type(scenario.plant.arrangement).__name__.removesuffix("Plant"),
        terms=key,
        rule=None if rule is None else worth(rule),
        limits=limits,
        tuned=None if tuned is None else worth(tuned.best),
        refusal=refusal,
        checks=() if tuned is None else _checks(tuned),
        floor_s=floor_s,
        processor_s=processor_s,
        wall_s=wall_s,
    )


def worth(row: Row) -> Worth:
    """Take a row's figures."""
    return Worth(
        name=row.name,
        settling_s=row.settling_s,
        overshoot=row.overshoot,
        ms=row.ms,
        travel_strokes=row.travel,
        reversals=row.reversals,
        unsettled=row.unsettled,
    )


def _checks(tuned: Tuned) -> tuple[Check, ...]:
    """Run the slowest machine and the one that overshoots most again."""
    slowest, furthest, _ = tuned.best.places
    return tuple(
        Check(which, each.name, each.settling_s, each.overshoot)
        for which, place in (("slowest", slowest), ("most overshoot", furthest))
        for each in verify(tuned.bench.machines[place].member.scenario, tuned.best.law)
    )


def find_floor(bench: Bench) -> float:
    """Find the settling of all steps that no law can beat on the worst machine.

    At full drive a step takes its time from the near edge of the band about its
    start, where the step before may have ended, to the near edge of its own.
    Dead time is left out, so this is a lower bound.

    Returns
    -------
    float
        Of the machine where it is longest [s].
    """
    block = kept_words(FULL_DRIVE.law(bench.scenario.law))
    if block is None:
        raise ValueError("full drive: the board cannot keep the gain")
    ticks = [
        sum(_travel_ticks(marks, machine.windows))
        for machine, marks in zip(
            bench.machines,
            run_batch(
                Watched(m.rig.under(block), tuple(map(_inside, m.windows)))
                for m in bench.machines
            ),
            strict=True,
        )
    ]
    return max(ticks) * bench.scenario.law.tick_s


def _inside(window: Window) -> Window:
    """Stretch a window so that its 10 % and 90 % are the edges of the bands."""
    size_pa = window.to_pa - window.from_pa
    stretch = (1.0 - 2.0 * window.band) / 0.8
    middle_pa = window.from_pa + 0.5 * size_pa
    half_pa = 0.5 * stretch * size_pa
    return replace(window, from_pa=middle_pa - half_pa, to_pa=middle_pa + half_pa)


def _travel_ticks(marks: FloatArray, windows: Sequence[Window]) -> list[float]:
    # What is passed already at the step, or never reached, is negative.
    starts = np.maximum(marks[:, REACH_10], 0.0)
    ends = marks[:, REACH_90]
    lengths = [window.ticks for window in windows]
    found: list[float] = np.where(ends < 0.0, lengths, ends - starts).tolist()
    return found
