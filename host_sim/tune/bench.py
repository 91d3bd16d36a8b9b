"""A family on the bench: laws tried on all of its machines, against the limits."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from host_sim.law.settings import LawSettings
from host_sim.loop.rig import FloatArray
from host_sim.scenario.build_law import default_tracking_s
from host_sim.scenario.load import Scenario
from host_sim.scenario.tuning import Limits
from host_sim.tune.box import box_around
from host_sim.tune.choice import Box, Choice, choice_of
from host_sim.tune.corners import SmallLoop, rule_facts, small_loops, worst_ms
from host_sim.tune.family import Member, make_family
from host_sim.tune.identified import Identified
from host_sim.tune.rest import Resting, count_reversals, make_resting
from host_sim.tune.rules import Proposal, RuleAnswers, ask_rules
from host_sim.tune.search import Figures
from host_sim.tune.trials import Machine, Scores, make_machines, try_laws


@dataclass(frozen=True, kw_only=True)
class Row(Figures):
    """A tuning with what it is worth on the whole family.

    ``unsettled`` counts the steps that do not settle on the machine that has most
    of them. ``worst`` names where each limit is nearest, ``places`` has the machines
    that settle last, overshoot most and travel most.
    """

    name: str
    law: LawSettings
    unsettled: int
    slowest: Member
    worst: dict[str, str]
    places: tuple[int, int, int]

    def holds(self, limits: Limits) -> bool:
        """Whether it holds the limits and settles everywhere."""
        return max(self.used(limits).values()) <= 1.0 and not self.unsettled

    def rank(self, limits: Limits) -> tuple[float, float]:
        """Order rows: by the limit that is broken most, then by settling."""
        return max(1.0, *self.used(limits).values()), self.settling_s


@dataclass(frozen=True)
class Asked:
    """What the rules say about one side of a plant; "" where both are alike."""

    side: str
    answers: RuleAnswers

    @property
    def suffix(self) -> str:
        """What tells the side's proposals apart."""
        return f", {self.side}" if self.side else ""


@dataclass(frozen=True)
class Bench:
    """One scenario's family in all that it is tried on, and the rules' answers.

    Machines are run, loops are linear, resting are left alone.

    ``notes`` say what a reader should know of an identified model.
    """

    scenario: Scenario
    machines: tuple[Machine, ...]
    loops: tuple[SmallLoop, ...]
    resting: tuple[Resting, ...]
    asked: tuple[Asked, ...]
    notes: tuple[str, ...]

    @cached_property
    def starts(self) -> list[Choice]:
        """The rules' proposals and the present tuning, as choices."""
        choices = [choice_of(law) for law in self._proposed]
        law = self.scenario.law
        return [choice_of(law), *choices] if law.pid.gains.kp else choices

    @cached_property
    def box(self) -> Box:
        """Where to search: around the rules and the present gains."""
        gains = [proposal.gains for _, proposal in self._proposals]
        gains.append(self.scenario.law.pid.gains)
        return box_around(gains, self.scenario)

    @property
    def _proposals(self) -> list[tuple[str, Proposal]]:
        return [
            (asked.suffix, proposal)
            for asked in self.asked
            for proposal in asked.answers.proposals
        ]

    @cached_property
    def _proposed(self) -> list[LawSettings]:
        return [_law(self.scenario.law, proposal) for _, proposal in self._proposals]

    def reference_rows(self) -> tuple[Row, tuple[Row, ...]]:
        """Try the present tuning and every rule's, the better side of each rule."""
        present, *_ = self.rows(["present"], [self.scenario.law])
        best: dict[str, Row] = {}
        rows = self.rule_rows()
        for (_, proposal), row in zip(self._proposals, rows, strict=True):
            other = best.setdefault(proposal.rule.name, row)
            if (row.unsettled, row.settling_s) < (other.unsettled, other.settling_s):
                best[proposal.rule.name] = row
        return present, tuple(best.values())

    def rule_rows(self) -> list[Row]:
        """Try every rule's tuning, as asked about each side of the machine."""
        names = [p.rule.name + suffix for suffix, p in self._proposals]
        return self.rows(names, self._proposed)

    def rows(self, names: Sequence[str], laws: Sequence[LawSettings]) -> list[Row]:
        """Try laws on the whole family."""
        scores = try_laws(laws, self.machines)
        reversals = count_reversals(laws, self.resting)
        return [
            self._row(name, law, scores.of(place), reversals[place])
            for place, (name, law) in enumerate(zip(names, laws, strict=True))
        ]

    def _row(
        self, name: str, law: LawSettings, scores: Scores, reversals: FloatArray
    ) -> Row:
        slowest, furthest, busiest = (
            int(part.argmax())
            for part in (scores.settling_s, scores.overshoot, scores.travel)
        )
        restless = int(reversals.argmax())
        ms, tightest = worst_ms(self.loops, law)
        return Row(
            name=name,
            law=law,
            settling_s=float(scores.settling_s[slowest]),
            overshoot=float(scores.overshoot[furthest]),
            travel=float(scores.travel[busiest]),
            ms=ms,
            reversals=float(reversals[restless]),
            unsettled=int(scores.unsettled.max()),
            slowest=self.machines[slowest].member,
            worst={
                "overshoot": self.machines[furthest].member.in_words(),
                "ms": tightest,
                "travel": self.machines[busiest].member.in_words(),
                "hunting": self.resting[restless].name,
            },
            places=(slowest, furthest, busiest),
        )


def make_bench(scenario: Scenario, identified: Identified | None = None) -> Bench:
    """Draw the family, linearise its corners, ask the rules.

    Parameters
    ----------
    scenario : Scenario
    identified : Identified, optional
        A recorded plant: the rules are asked about it in place of the scenario's,
        and Ms counts on it too.

    Returns
    -------
    Bench

    Raises
    ------
    InputError
        A machine that cannot hold the set points, or a command without a step.
    """
    loops, facts = small_loops(scenario), rule_facts(scenario)
    notes: tuple[str, ...] = ()
    if identified is not None:
        loops.append(identified.loop)
        facts, notes = [("", identified.facts)], identified.notes
    tick_s = scenario.law.tick_s
    return Bench(
        scenario=scenario,
        machines=tuple(make_machines(make_family(scenario))),
        loops=tuple(loops),
        resting=tuple(make_resting(scenario)),
        asked=tuple(Asked(side, ask_rules(each, tick_s)) for side, each in facts),
        notes=notes,
    )


def _law(base: LawSettings, proposal: Proposal) -> LawSettings:
    pid = replace(
        base.pid,
        gains=proposal.gains,
        weight=proposal.setpoint_weight,
        derivative_filter_s=proposal.derivative_filter_s,
        tracking_s=max(default_tracking_s(proposal.gains), base.tick_s),
    )
    return replace(base, pid=pid)
