"""What more speed costs: settling against overshoot against valve travel."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from host_sim.errors import InputError
from host_sim.scenario.load import Scenario
from host_sim.scenario.tuning import Limits
from host_sim.tune.bench import Bench, Row, make_bench
from host_sim.tune.choice import Choice
from host_sim.tune.identified import Identified
from host_sim.tune.search import Tried
from host_sim.tune.seeker import Seeker

Progress = Callable[[str, float], None]

OVERSHOOTS = (0.01, 0.02, 0.04, 0.08, 0.15, 0.3)
"""Limits searched under, beside the scenario's own: the front is followed from one
to the next."""
FIRST_GENERATIONS, GENERATIONS = 24, 12
"""Under the first limit, and under each other."""
CANDIDATES = 24
"""Choices found under each limit that are tried on the whole family."""
LONGEST_TABLE = 8


@dataclass(frozen=True)
class TradeOff:
    """The front, and where the present tuning and the rules stand.

    ``front`` has no row that another beats in settling, overshoot and travel at
    once; it is sorted by settling, slowest first. ``recommended`` is the quickest
    that holds the scenario's limits, None where none does.
    """

    bench: Bench
    present: Row
    rule_rows: tuple[Row, ...]
    front: tuple[Row, ...]
    recommended: Row | None

    @property
    def scenario(self) -> Scenario:
        """The scenario in question."""
        return self.bench.scenario

    def table(self) -> list[Row]:
        """Choose rows to choose from: a few, evenly along the front.

        The recommended one is among them.
        """
        places = np.linspace(0, len(self.front) - 1, LONGEST_TABLE).round()
        chosen = {int(place) for place in places}
        if self.recommended is not None:
            chosen.add(self.front.index(self.recommended))
        return [self.front[place] for place in sorted(chosen)]


def trade_off(
    scenario: Scenario,
    seed: int,
    progress: Progress,
    identified: Identified | None = None,
) -> TradeOff:
    """Find the front of settling time, overshoot and travel.

    Parameters
    ----------
    scenario : Scenario
        With its family; every point holds its limit of Ms, and settles.
    seed : int
        Of the search; the same seed finds the same.
    progress : callable
        Called with what is done now and the share done in all.
    identified : Identified, optional
        A recorded plant, see `make_bench`.

    Returns
    -------
    TradeOff

    Raises
    ------
    InputError
        A machine that cannot hold the set points, a command without a step, or
        no choice that holds the limit of Ms and settles on every machine.
    """
    progress("drawing the family, asking the rules", 0.0)
    bench = make_bench(scenario, identified)
    progress("trying the rules", 0.03)
    present, rule_rows = bench.reference_rows()
    seeker = Seeker(bench, seed, [present, *rule_rows])
    choices = _candidates(seeker, progress)
    progress("trying the best on all machines", 0.9)
    rows = bench.rows(["" for _ in choices], [c.law(scenario.law) for c in choices])
    kept = [row for row in rows if _is_sound(row, scenario.limits)]
    if not kept:
        raise _refusal(scenario, rows)
    best = [row for row, count in zip(kept, _beaten(kept), strict=True) if not count]
    front = sorted(best, key=lambda row: -row.settling_s)
    named = [replace(row, name=f"point {k}") for k, row in enumerate(front, 1)]
    holding = [row for row in named if row.holds(scenario.limits)]
    return TradeOff(
        bench=bench,
        present=present,
        rule_rows=rule_rows,
        front=tuple(named),
        recommended=holding[-1] if holding else None,
    )


def _candidates(seeker: Seeker, progress: Progress) -> list[Choice]:
    """Search under several limits; return the choices that few others beat."""
    limits = seeker.limits
    overshoots = sorted({*OVERSHOOTS, limits.overshoot})
    rounds = [FIRST_GENERATIONS, *(GENERATIONS for _ in overshoots[1:])]
    done = 0

    def tell() -> None:
        nonlocal done
        done += 1
        progress("following the front", 0.1 + 0.8 * done / sum(rounds))

    choices: list[Choice] = []
    for overshoot, generations in zip(overshoots, rounds, strict=True):
        seeker.limits = replace(limits, overshoot=overshoot)
        tried = seeker.go_on(generations, tell)
        stable = [each for each in tried if each.ms <= limits.ms]
        order = np.argsort(_beaten(stable), kind="stable")[:CANDIDATES]
        choices += [stable[place].choice for place in order.tolist()]
        choices += [choice for choice, _ in seeker.finalists]
    return list(dict.fromkeys(choices))


def _beaten(rows: Sequence[Row] | Sequence[Tried]) -> list[int]:
    """Count for each row how many beat it in everything."""
    figures = np.array([(row.settling_s, row.overshoot, row.travel) for row in rows])
    counts = []
    for one in figures:
        no_worse = (figures <= one).all(axis=1)
        better = (figures < one).any(axis=1)
        counts.append(int(np.count_nonzero(no_worse & better)))
    return counts


def _is_sound(row: Row, limits: Limits) -> bool:
    """Whether a row settles, comes to rest and holds the limit of Ms."""
    used = row.used(limits)
    return max(used["ms"], used["hunting"]) <= 1.0 and not row.unsettled


def _refusal(scenario: Scenario, rows: Sequence[Row]) -> InputError:
    nearest = min(rows, key=lambda row: (row.unsettled, row.ms))
    if nearest.unsettled:
        return InputError(
            f"profile: no gains found settle every step on every machine; the best "
            f"leave {nearest.unsettled} of them, on {nearest.slowest.in_words()}; give "
            "the command longer steps, widen run.settle_band, or narrow the family"
        )
    return InputError(
        f"limits.ms: no gains found hold it on every machine of the family and settle "
        f"all steps; the best reach {nearest.ms:.3g} against {scenario.limits.ms:g}, "
        f"on {nearest.worst['ms']}; raise the limit or narrow the family"
    )


def prices(rows: Sequence[Row]) -> list[str]:
    """Say what each row gains on the one before, and what that costs.

    Parameters
    ----------
    rows : sequence of Row
        Slowest first.

    Returns
    -------
    list of str
        Empty for the first.
    """
    told = [""]
    for before, row in pairwise(rows):
        gained_s = before.settling_s - row.settling_s
        overshoot = 100.0 * (row.overshoot - before.overshoot)
        travel = row.travel - before.travel
        costs = [
            f"{abs(number):.2g} {unit} {'more' if number > 0.0 else 'less'}"
            for number, unit in ((overshoot, "% overshoot"), (travel, "strokes"))
            if abs(number) >= 0.005
        ]
        told.append(f"{gained_s:.2g} s faster: {', '.join(costs) or 'free'}")
    return told
