"""From a scenario to the gains that serve its whole family of machines."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from host_sim.errors import InputError
from host_sim.law.settings import LawSettings
from host_sim.plant.settings import ChainPlant, PilotLag
from host_sim.scenario.load import Scenario
from host_sim.scenario.tuning import Limits
from host_sim.tune.bench import Bench, Row, make_bench
from host_sim.tune.choice import Choice
from host_sim.tune.rest import Deadband, choose_deadband, with_deadband
from host_sim.tune.search import Tried, hardest, search
from host_sim.tune.trials import try_laws

ROUNDS = (20, 14)
"""Generations: on the machines hard for the rules, then on those hard for the best."""
FINALISTS = 24
"""Choices of the search that are tried on the whole family."""
STRENGTHS = (0.0, 0.5, 1.0)
RESTING = 6
"""Machines left alone at rest."""

Progress = Callable[[str, float], None]


@dataclass(frozen=True)
class Tuned:
    """What tuning found: the law, what it is worth, and what it was chosen from.

    ``tries`` counts the choices tried; ``strengths`` has each strength of the
    supply compensation tried.
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


def tune(scenario: Scenario, seed: int, progress: Progress) -> Tuned:
    """Find gains, filter, tracking, weight, deadband and compensation.

    Parameters
    ----------
    scenario : Scenario
        With its family and limits.
    seed : int
        Of the search; the same seed finds the same.
    progress : callable
        Called with what is done now and the share done in all.

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
    bench, limits = make_bench(scenario), scenario.limits
    progress("trying the rules", 0.1)
    present, rule_rows = bench.reference_rows()
    tried = seek(bench, limits, seed, lambda x: progress("searching", 0.15 + 0.7 * x))
    choice = finalist(bench, tried, limits)
    progress("leaving it at rest", 0.9)
    deadband = _deadband(bench, choice.law(scenario.law))
    law = with_deadband(choice.law(scenario.law), deadband.width)
    strengths = _strengths(bench, law)
    best = min(strengths, key=lambda pair: pair[1].rank(limits))[1]
    _refuse_broken(limits, best)
    return Tuned(
        bench=bench,
        present=present,
        rule_rows=rule_rows,
        best=best,
        choice=choice,
        deadband=deadband,
        strengths=tuple(strengths),
        tries=len(tried),
    )


def seek(
    bench: Bench, limits: Limits, seed: int, progress: Callable[[float], None]
) -> list[Tried]:
    """Search twice: on machines hard for the rules, then for the best found.

    Parameters
    ----------
    bench : Bench
    limits : Limits
        Those of the bench's scenario, or others.
    seed : int
    progress : callable
        Called with the share done.

    Returns
    -------
    list of Tried
        All that was tried, the second search first.
    """
    base = bench.scenario.law
    done = 0
    found: list[Tried] = []
    history: list[Tried] = []
    laws = [choice.law(base) for choice in bench.starts] or [base]
    for number, generations in enumerate(ROUNDS):
        places = hardest(try_laws(laws, bench.machines), 1)

        def tell(generation: int, before: int = done) -> None:
            progress((before + generation) / sum(ROUNDS))

        problem = bench.problem(base, places, limits)
        ahead = [tried.choice for tried in found[:FINALISTS]] or bench.starts
        found = search(problem, bench.box, ahead, seed + number, tell, generations)
        laws = [tried.choice.law(base) for tried in found[:3]]
        history = [*found, *history]
        done += generations
    return history


def finalist(bench: Bench, tried: Sequence[Tried], limits: Limits) -> Choice:
    """Try the best of a search on the whole family; return the winner."""
    choices = list(dict.fromkeys(each.choice for each in tried))[:FINALISTS]
    laws = [choice.law(bench.scenario.law) for choice in choices]
    ranks = [row.rank(limits) for row in bench.rows(["" for _ in laws], laws)]
    return choices[ranks.index(min(ranks))]


def _deadband(bench: Bench, law: LawSettings) -> Deadband:
    places = hardest(try_laws([law], bench.machines), 2)[:RESTING]
    members = [bench.machines[place].member for place in places]
    return choose_deadband(bench.scenario, members, law)


def _strengths(bench: Bench, law: LawSettings) -> list[tuple[float, Row]]:
    """Try strengths of the supply compensation, where the drive is a valve's."""
    built = bench.scenario.plant.arrangement
    if isinstance(built, ChainPlant) and isinstance(built.pilot, PilotLag):
        return [(law.supply.strength, bench.rows(["chosen"], [law])[0])]
    laws = [
        replace(law, supply=replace(law.supply, strength=strength))
        for strength in STRENGTHS
    ]
    rows = bench.rows(["chosen" for _ in laws], laws)
    return list(zip(STRENGTHS, rows, strict=True))


def _refuse_broken(limits: Limits, best: Row) -> None:
    """Refuse limits that the best choice breaks."""
    excesses = best.excesses(limits)
    name = max(excesses, key=lambda key: excesses[key])
    if excesses[name] <= 0.0:
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
        f"best reach {reached}, on {best.slowest.in_words()} among others; raise the "
        "limit, narrow the family, or mend the machine (exhaust, lag, volume)"
    )
