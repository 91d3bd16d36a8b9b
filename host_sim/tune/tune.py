"""From a scenario to the gains that serve its whole family of machines."""

from collections.abc import Callable
from dataclasses import dataclass, replace

from host_sim.errors import InputError
from host_sim.law.settings import LawSettings
from host_sim.plant.settings import ChainPlant, PilotLag
from host_sim.scenario.load import Scenario
from host_sim.scenario.tuning import Limits
from host_sim.tune.bench import Bench, Row, make_bench
from host_sim.tune.choice import Choice
from host_sim.tune.identified import Identified
from host_sim.tune.rest import Deadband, choose_deadband, with_deadband
from host_sim.tune.seeker import Seeker

ROUNDS = (14, 20, 20, 20)
"""Generations between two looks at the whole family."""
SETTLED = 3
"""Finalists that get a deadband and a compensation of their own."""
SEARCHING = (0.1, 0.9)
"""Shares of the whole done when the search begins and ends."""
STRENGTHS = (0.0, 0.5, 1.0)

Progress = Callable[[str, float], None]


@dataclass(frozen=True)
class Tuned:
    """What tuning found: the law, what it is worth, and what it was chosen from.

    ``tries`` counts the choices tried; ``strengths`` has each strength of the
    supply compensation tried, one where none was to choose.
    """

    bench: Bench
    present: Row
    rule_rows: tuple[Row, ...]
    best: Row
    choice: Choice
    deadband: Deadband
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


@dataclass(frozen=True)
class _Settled:
    """A law with its deadband and supply compensation, and what that is worth."""

    choice: Choice
    row: Row
    deadband: Deadband
    strengths: tuple[tuple[float, Row], ...]

    def rank(self, limits: Limits) -> tuple[float, bool, float]:
        excess, settling_s = self.row.rank(limits)
        return excess, self.deadband.rest.hunts, settling_s


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
    base = scenario.law
    tell = _counting(progress)
    for generations in ROUNDS:
        seeker.go_on(base, generations, tell)
        leader = _settle(bench, *seeker.finalists[0])
        base = leader.row.law
    progress("leaving it at rest", SEARCHING[1])
    others = [_settle(bench, *pair) for pair in seeker.finalists[1:SETTLED]]
    best = min([leader, *others], key=lambda each: each.rank(limits))
    _refuse_broken(limits, best.row)
    return Tuned(
        bench=bench,
        present=present,
        rule_rows=rule_rows,
        best=best.row,
        choice=best.choice,
        deadband=best.deadband,
        strengths=best.strengths,
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


def _settle(bench: Bench, choice: Choice, row: Row) -> _Settled:
    """Give a choice the smallest deadband that lets it rest, and a compensation."""
    members = [machine.member for machine in bench.machines]
    deadband = choose_deadband(bench.scenario, members, row.law)
    law = with_deadband(row.law, deadband.width)
    strengths = _strengths(bench, law)
    limits = bench.scenario.limits
    best = min((row for _, row in strengths), key=lambda row: row.rank(limits))
    return _Settled(choice, best, deadband, strengths)


def _strengths(bench: Bench, law: LawSettings) -> tuple[tuple[float, Row], ...]:
    """Try strengths of the supply compensation, where the drive is a valve's."""
    built = bench.scenario.plant.arrangement
    if isinstance(built, ChainPlant) and isinstance(built.pilot, PilotLag):
        return ((law.supply.strength, bench.rows(["chosen"], [law])[0]),)
    laws = [
        replace(law, supply=replace(law.supply, strength=strength))
        for strength in STRENGTHS
    ]
    rows = bench.rows(["chosen" for _ in laws], laws)
    return tuple(zip(STRENGTHS, rows, strict=True))


def _refuse_broken(limits: Limits, best: Row) -> None:
    """Refuse limits that the best choice breaks."""
    excesses = best.excesses(limits)
    name = max(excesses, key=lambda key: excesses[key])
    if excesses[name] <= 0.0:
        _refuse_unsettled(name, best)
        return
    reached = {
        "overshoot": (
            f"{100 * best.overshoot:.3g} % against {100 * limits.overshoot:g} %"
        ),
        "ms": f"{best.ms:.3g} against {limits.ms:g}",
        "travel": f"{best.travel:.3g} strokes a step against {limits.travel:g}",
    }[name]
    raise InputError(
        f"limits.{name}: no gains found hold it on every machine of the family; the "
        f"best reach {reached}, on {best.worst[name]}; raise the limit, narrow the "
        "family, or mend the machine (exhaust, lag, volume)"
    )


def _refuse_unsettled(nearest: str, best: Row) -> None:
    """Refuse limits within which nothing settles; the nearest one binds."""
    if best.unsettled:
        raise InputError(
            f"limits.{nearest}: within the limits no gains found settle every machine "
            f"of the family, {best.unsettled} steps stay outside the band on "
            f"{best.slowest.in_words()}; raise this limit, lengthen the steps of the "
            "profile, widen run.settle_band, or narrow the family"
        )
