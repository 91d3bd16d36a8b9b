"""From a scenario to the gains that serve its whole family of machines."""

from collections.abc import Callable, Sequence
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
from host_sim.tune.trials import Machine

ROUNDS = (25, 30, 40)
"""Generations between two looks at the whole family, of the longest runs."""
AFFORDED, MOST = 40_000, 3.0
"""Substeps of a run up to which there is time for more generations, and how many
times as many at most."""
LAW_SUBSTEPS = 4
"""Substeps that take as long as a tick of the law: measured, roughly."""
INSIDE = 0.8
"""Share of the settle band that an overshoot may use: at its edge a count decides
whether a step has settled or has to come back."""
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
    seeker = _seek(bench, seed, [present, *rule_rows], progress)
    choice, best = seeker.finalists[0]
    _refuse_broken(limits, best, [present, *rule_rows])
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


def _seek(bench: Bench, seed: int, rows: Sequence[Row], progress: Progress) -> Seeker:
    """Search within the limits, and apart from that without leaving the band.

    An overshoot beyond the settle band must come back, one within it is settled:
    two ways to be quick, and a search that has found one does not cross to the
    other. The better one is followed to the end.
    """
    limits, machine = bench.scenario.limits, bench.machines[0]
    within = max(window.band for window in machine.windows)
    overshoots = (limits.overshoot, min(INSIDE * within, limits.overshoot))
    first, *others, last = stretched(ROUNDS, machine)
    tell = _counting(progress, len(overshoots) * (first + sum(others)) + last)
    seekers = []
    for number, overshoot in enumerate(overshoots):
        seeker = Seeker(bench, (seed, number), rows)
        seeker.limits = replace(limits, overshoot=overshoot)
        seeker.go_on(first, tell)
        seeker.limits = limits
        for generations in others:
            seeker.go_on(generations, tell)
        seekers.append(seeker)
    best = min(seekers, key=lambda each: each.finalists[0][1].rank(limits))
    best.go_on(last, tell)
    return best


def stretched(rounds: Sequence[int], machine: Machine) -> list[int]:
    """Give machines that run quickly more generations."""
    rig = machine.rig
    substeps = rig.ticks * (rig.substeps + LAW_SUBSTEPS)
    times = min(max(AFFORDED / substeps, 1.0), MOST)
    return [round(times * generations) for generations in rounds]


def _counting(progress: Progress, generations: int) -> Callable[[], None]:
    """Count generations, and tell the share of the whole that they are."""
    first, last = SEARCHING
    done = 0

    def tell() -> None:
        nonlocal done
        done += 1
        progress("searching", first + (last - first) * done / generations)

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


def _refuse_broken(limits: Limits, best: Row, others: Sequence[Row] = ()) -> None:
    """Refuse limits that the best choice breaks, or within which it settles not.

    Slow gains hold nearly any limit and settle nothing; then what settles everywhere
    and breaks the limits least says which one binds, and by how much.
    """
    settling = [row for row in others if not row.unsettled]
    if best.unsettled and settling:
        best = min(settling, key=lambda row: row.rank(limits))
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
