"""A family on the bench: laws tried on all of its machines, against the limits."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from host_sim.law.settings import LawSettings
from host_sim.measure.frequency import OpenLoop, open_loop
from host_sim.measure.margin_study import linear_plants
from host_sim.scenario.load import Scenario
from host_sim.scenario.tuning import Limits
from host_sim.tune.choice import Box, Choice, box_around
from host_sim.tune.family import Member, make_family
from host_sim.tune.rules import Proposal, RuleAnswers, ask_rules
from host_sim.tune.rules_facts import facts_of_plant
from host_sim.tune.search import Problem
from host_sim.tune.trials import Machine, Scores, make_machines, try_laws

SHARES = (0.25, 0.5, 0.75)
"""Of the range: where the loop is linearised for Ms."""
RULE_SHARE = 0.5
"""Of the range: the plant that the rules are asked about."""
SOLE_P_TI_S = 1e3
"""Integral time that stands for a rule without one."""


@dataclass(frozen=True)
class Row:
    """A tuning with what it is worth on the worst machine of the family."""

    name: str
    law: LawSettings
    settling_s: float
    overshoot: float
    travel: float
    ms: float
    unsettled: int
    slowest: Member

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
class Bench:
    """Family, machines, linear loops and the rules' answers of one scenario."""

    scenario: Scenario
    machines: tuple[Machine, ...]
    loops: tuple[OpenLoop, ...]
    answers: RuleAnswers

    @cached_property
    def starts(self) -> list[Choice]:
        """The rules' proposals as choices."""
        return [_of_proposal(proposal) for proposal in self.answers.proposals]

    @cached_property
    def box(self) -> Box:
        """Where to search: around the rules and the present gains."""
        gains = [proposal.gains for proposal in self.answers.proposals]
        gains.append(self.scenario.law.pid.gains)
        return box_around(gains, self.scenario.law.tick_s)

    def problem(
        self, law: LawSettings, places: Sequence[int], limits: Limits
    ) -> Problem:
        """Pose the search on some of the machines."""
        machines = [self.machines[place] for place in places]
        return Problem(law, machines, self.loops, limits)

    def reference_rows(self) -> tuple[Row, tuple[Row, ...]]:
        """Try the present tuning, and every rule's."""
        law = self.scenario.law
        names = [proposal.rule.name for proposal in self.answers.proposals]
        laws = [choice.law(law) for choice in self.starts]
        present, *rules = self.rows(["present", *names], [law, *laws])
        return present, tuple(rules)

    def rows(self, names: Sequence[str], laws: Sequence[LawSettings]) -> list[Row]:
        """Try laws on the whole family."""
        scores = try_laws(laws, self.machines)
        return [
            self._row(name, law, scores, k)
            for k, (name, law) in enumerate(zip(names, laws, strict=True))
        ]

    def _row(self, name: str, law: LawSettings, scores: Scores, k: int) -> Row:
        problem = self.problem(law, [0], self.scenario.limits)
        return Row(
            name=name,
            law=law,
            settling_s=float(scores.settling_s[k].max()),
            overshoot=float(scores.overshoot[k].max()),
            travel=float(scores.travel[k].max()),
            ms=problem.ms(law),
            unsettled=int(np.minimum(scores.unsettled[k].max(), 99)),
            slowest=self.machines[int(scores.settling_s[k].argmax())].member,
        )


def make_bench(scenario: Scenario) -> Bench:
    """Draw the family, linearise, ask the rules.

    Raises
    ------
    InputError
        A machine that cannot hold the set points, or a command without a step.
    """
    machines = make_machines(make_family(scenario))
    return Bench(scenario, tuple(machines), _loops(scenario), _ask(scenario))


def _loops(scenario: Scenario) -> tuple[OpenLoop, ...]:
    channel = scenario.plant.sensing.pressure
    late = scenario.compute_delay_ticks
    return tuple(
        open_loop(plant, channel, scenario.law, late)
        for share in SHARES
        for _, _, plant in linear_plants(scenario, share)
    )


def _ask(scenario: Scenario) -> RuleAnswers:
    plants = linear_plants(scenario, RULE_SHARE)
    channel = scenario.plant.sensing.pressure
    late = scenario.compute_delay_ticks
    facts = facts_of_plant(plants[0][2], channel, scenario.law, late)
    return ask_rules(facts, scenario.law.tick_s)


def _of_proposal(proposal: Proposal) -> Choice:
    ideal = proposal.ideal
    filter_s = proposal.derivative_filter_s
    return Choice(
        kc=ideal.kc,
        ti_s=min(ideal.ti_s, SOLE_P_TI_S),
        td_s=ideal.td_s,
        weight=proposal.setpoint_weight,
        filter_ratio=ideal.td_s / filter_s if filter_s else 1.0,
        tracking_ratio=1.0,
    )
