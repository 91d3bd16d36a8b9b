"""From a scenario to the gains that serve its whole family of machines."""

from collections.abc import Callable
from dataclasses import dataclass, replace

from host_sim.errors import InputError
from host_sim.scenario.load import Scenario
from host_sim.scenario.tuning import Limits
from host_sim.tune.bench import Bench, Row, make_bench
from host_sim.tune.box import asks_for_pressure
from host_sim.tune.choice import Choice
from host_sim.tune.identified import Identified
from host_sim.tune.rest import MOST_REVERSALS
from host_sim.tune.seeker import Seeker

ROUNDS = (14, 20, 20, 20)
"""Generations between two looks at the whole family."""
SEARCHING = (0.1, 0.9)
"""Shares of the whole done when the search begins and ends."""
STRENGTHS = (0.0, 0.5, 1.0)
"""Of the supply compensation, shown beside the one chosen."""

Progress = Callable[[str, float], None]


@dataclass(frozen=True)
class Tuned:
    """What tuning found: the law, what it is worth, and what it was chosen from.

    ``tries`` counts the choices tried; ``strengths`` has the choice with other
    strengths of the supply compensation, nothing where there was none to choose.
    """

    bench: Bench
    present: Row
    rule_rows: tuple[Row, ...]
    best: Row
    choice: Choice
    strengths: tuple[tuple[float, Row], ...]
    tries: int

    @property
    def scenario(self) -> Scenario:
        """The scenario tuned."""
        return self.bench.scenario

    @property
    def best_rule(self) -> Row | None:
        """The published rule with the shortest settling that settles everywhere."""
        settled = [row for row in self.rule_rows if not row.unsettled]
        return min(settled, key=lambda row: row.settling_s, default=None)


def tune(
    scenario: Scenario,
    seed: int,
    progress: Progress,
    identified: Identified | None = None,
) -> Tuned:
    """Find gains, filter, tracking, weight, deadband and compensation.

    Parameters
    ----------
    scenario : Scenario
        With its family and limits.
    seed : int
        Of the search; the same seed finds the same.
    progress : callable
        Called with what is done now and the share done in all.
    identified : Identified, optional
        A recorded plant, see `make_bench`.

    Returns
    -------
    Tuned

    Raises
    ------
    InputError
        A machine that cannot hold the set points, or limits that no choice
        holds: which one binds, and by how much.
    """
    progress("drawing the family, asking the rules", 0.0)
    bench, limits = make_bench(scenario, identified), scenario.limits
    progress("trying the rules", 0.03)
    present, rule_rows = bench.reference_rows()
    seeker = Seeker(bench, seed, [present, *rule_rows])
    tell = _counting(progress)
    for generations in ROUNDS:
        seeker.go_on(generations, tell)
    choice, best = seeker.finalists[0]
    _refuse_broken(limits, best)
    progress("trying other compensations", SEARCHING[1])
    return Tuned(
        bench=bench,
        present=present,
        rule_rows=rule_rows,
        best=best,
        choice=choice,
        strengths=_strengths(bench, choice),
        tries=seeker.tries,
    )


def _counting(progress: Progress) -> Callable[[], None]:
    """Count generations, and tell the share of the whole that they are."""
    first, last = SEARCHING
    done = 0

    def tell() -> None:
        nonlocal done
        done += 1
        progress("searching", first + (last - first) * done / sum(ROUNDS))

    return tell


def _strengths(bench: Bench, choice: Choice) -> tuple[tuple[float, Row], ...]:
    """Try other strengths of the supply compensation, where there is a choice."""
    if asks_for_pressure(bench.scenario):
        return ()
    laws = [
        replace(choice, strength=strength).law(bench.scenario.law)
        for strength in STRENGTHS
    ]
    rows = bench.rows(["" for _ in laws], laws)
    return tuple(zip(STRENGTHS, rows, strict=True))


def _refuse_broken(limits: Limits, best: Row) -> None:
    """Refuse limits that the best choice breaks, or within which it settles not."""
    used = best.used(limits)
    name = max(used, key=lambda key: used[key])
    if used[name] > 1.0:
        reached = {
            "overshoot": (
                f"{100 * best.overshoot:.3g} % against {100 * limits.overshoot:g} %"
            ),
            "ms": f"{best.ms:.3g} against {limits.ms:g}",
            "travel": f"{best.travel:.3g} strokes a step against {limits.travel:g}",
            "hunting": (
                f"{best.reversals:.0f} reversals of the output at rest against "
                f"{MOST_REVERSALS}"
            ),
        }[name]
        raise InputError(
            f"{_key(name)}: no gains found hold it on every machine of the family; the "
            f"best reach {reached}, on {best.worst[name]}; {_remedy(name)}, narrow the "
            "family, or mend the machine (exhaust, lag, volume, hysteresis)"
        )
    if best.unsettled:
        raise InputError(
            f"{_key(name)}: within the limits no gains found settle every machine of "
            f"the family, {best.unsettled} steps stay outside the band on "
            f"{best.slowest.in_words()}, and this limit is nearest; {_remedy(name)}, "
            "lengthen the steps of the profile, or narrow the family"
        )


def _key(limit: str) -> str:
    return "hunting" if limit == "hunting" else f"limits.{limit}"


def _remedy(limit: str) -> str:
    if limit == "hunting":
        return "widen run.settle_band, which bounds the deadband"
    return "raise the limit"
