"""A family on the bench: laws tried on all of its machines, against the limits."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from host_sim.law.settings import LawSettings, Pid
from host_sim.scenario.build_law import default_tracking_s
from host_sim.scenario.load import Scenario
from host_sim.scenario.tuning import Limits
from host_sim.tune.choice import Box, Choice, box_around, choice_of
from host_sim.tune.corners import SmallLoop, rule_facts, small_loops, worst_ms
from host_sim.tune.family import Member, make_family
from host_sim.tune.identified import Identified
from host_sim.tune.rules import Proposal, RuleAnswers, ask_rules
from host_sim.tune.trials import Machine, Scores, make_machines, try_laws


@dataclass(frozen=True)
class Row:
    """A tuning with what it is worth on the worst machine of the family.

    ``unsettled`` counts the steps that do not settle on the machine that has most
    of them. ``worst`` names where each limit is nearest, ``binding`` has the places
    of the machines that settle last, overshoot and travel most.
    """

    name: str
    law: LawSettings
    settling_s: float
    overshoot: float
    travel: float
    ms: float
    unsettled: int
    slowest: Member
    worst: dict[str, str]
    binding: frozenset[int]

    def excesses(self, limits: Limits) -> dict[str, float]:
        """By what share each limit is exceeded; below 0 where it is held."""
        return {
            "overshoot": self.overshoot / limits.overshoot - 1.0,
            "ms": self.ms / limits.ms - 1.0,
            "travel": self.travel / limits.travel - 1.0,
        }

    def holds(self, limits: Limits) -> bool:
        """Whether it holds the limits and settles everywhere."""
        return max(self.excesses(limits).values()) <= 0.0 and not self.unsettled

    def rank(self, limits: Limits) -> tuple[float, float]:
        """Order rows: by what exceeds a limit, then by settling."""
        return max(0.0, *self.excesses(limits).values()), self.settling_s


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
    """Family, machines, linear loops and the rules' answers of one scenario.

    ``notes`` say what a reader should know of an identified model.
    """

    scenario: Scenario
    machines: tuple[Machine, ...]
    loops: tuple[SmallLoop, ...]
    asked: tuple[Asked, ...]
    notes: tuple[str, ...]

    @cached_property
    def starts(self) -> list[Choice]:
        """The rules' proposals and the present tuning, as choices."""
        choices = [_choice(proposal) for _, proposal in self._proposals]
        pid = self.scenario.law.pid
        return [choice_of(pid), *choices] if pid.gains.kp else choices

    @cached_property
    def box(self) -> Box:
        """Where to search: around the rules and the present gains."""
        gains = [proposal.gains for _, proposal in self._proposals]
        gains.append(self.scenario.law.pid.gains)
        return box_around(gains, self.scenario.law.tick_s)

    @property
    def _proposals(self) -> list[tuple[str, Proposal]]:
        return [
            (asked.suffix, proposal)
            for asked in self.asked
            for proposal in asked.answers.proposals
        ]

    def reference_rows(self) -> tuple[Row, tuple[Row, ...]]:
        """Try the present tuning and every rule's, the better side of each rule."""
        law = self.scenario.law
        names = [p.rule.name + suffix for suffix, p in self._proposals]
        laws = [_choice(proposal).law(law) for _, proposal in self._proposals]
        present, *rows = self.rows(["present", *names], [law, *laws])
        best: dict[str, Row] = {}
        for (_, proposal), row in zip(self._proposals, rows, strict=True):
            other = best.setdefault(proposal.rule.name, row)
            if (row.unsettled, row.settling_s) < (other.unsettled, other.settling_s):
                best[proposal.rule.name] = row
        return present, tuple(best.values())

    def rows(self, names: Sequence[str], laws: Sequence[LawSettings]) -> list[Row]:
        """Try laws on the whole family."""
        scores = try_laws(laws, self.machines)
        return [
            self._row(name, law, scores, place)
            for place, (name, law) in enumerate(zip(names, laws, strict=True))
        ]

    def _row(self, name: str, law: LawSettings, scores: Scores, place: int) -> Row:
        settling_s, overshoot, travel = (
            part[place] for part in (scores.settling_s, scores.overshoot, scores.travel)
        )
        slowest, furthest, busiest = (
            int(part.argmax()) for part in (settling_s, overshoot, travel)
        )
        ms, tightest = worst_ms(self.loops, law)
        return Row(
            name=name,
            law=law,
            settling_s=float(settling_s[slowest]),
            overshoot=float(overshoot[furthest]),
            travel=float(travel[busiest]),
            ms=ms,
            unsettled=int(scores.unsettled[place].max()),
            slowest=self.machines[slowest].member,
            worst={
                "overshoot": self.machines[furthest].member.in_words(),
                "ms": tightest,
                "travel": self.machines[busiest].member.in_words(),
            },
            binding=frozenset((slowest, furthest, busiest)),
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
        asked=tuple(Asked(side, ask_rules(each, tick_s)) for side, each in facts),
        notes=notes,
    )


def _choice(proposal: Proposal) -> Choice:
    pid = Pid(
        proposal.gains,
        weight=proposal.setpoint_weight,
        derivative_filter_s=proposal.derivative_filter_s,
        tracking_s=default_tracking_s(proposal.gains),
    )
    return choice_of(pid)
