"""The published tuning rules, asked all at once about one plant."""

from dataclasses import dataclass

from host_sim.errors import InputError
from host_sim.law.settings import Gains
from host_sim.tune.forms import Ideal, Series
from host_sim.tune.models import Model
from host_sim.tune.rules_catalogue import RULES, Rule
from host_sim.tune.rules_facts import RuleFacts, facts_of_model

LONGEST_TICK = 0.3
"""Of the integral time, up to which sampling is common."""
FILTER_SHARE = 0.1
"""Derivative filter over derivative time; no rule here names one."""


@dataclass(frozen=True)
class Proposal:
    """What a rule proposes: as it is stated, and as the law takes it.

    ``warnings`` say where the plant is outside what the rule is meant for.
    """

    rule: Rule
    stated: Ideal | Series
    ideal: Ideal
    gains: Gains
    setpoint_weight: float
    warnings: tuple[str, ...]

    @property
    def form(self) -> str:
        """Form in which the rule is stated."""
        return "series" if isinstance(self.stated, Series) else "ideal"

    @property
    def derivative_filter_s(self) -> float:
        """Lag on the derivative: a tenth of its time (common practice) [s]."""
        return FILTER_SHARE * self.ideal.td_s


@dataclass(frozen=True)
class Refusal:
    """A rule that has no answer for a plant, and why."""

    rule: Rule
    reason: str


@dataclass(frozen=True)
class RuleAnswers:
    """What all rules say about a plant, in the catalogue's order."""

    proposals: tuple[Proposal, ...]
    refusals: tuple[Refusal, ...]


def rule_gains(model: Model, tick_s: float, delay_s: float = 0.0) -> RuleAnswers:
    """Ask every rule about a model.

    Parameters
    ----------
    model : Model
        Gain as share of the pressure range over share of full drive; of an
        integrator, the same in a second.
    tick_s : float
        Sampling time; half of it counts as dead time [s].
    delay_s : float
        Dead time of the loop outside the model, as `loop_delay_s` [s].

    Returns
    -------
    RuleAnswers

    Raises
    ------
    InputError
        A gain, tick or dead time below 0.

    >>> from host_sim.tune.models import FIRST
    >>> answers = rule_gains(Model(FIRST, 2.0, 1.9, time_constant_s=10.0), 0.2)
    >>> {each.rule.name: each.ideal.kc for each in answers.proposals}["SIMC PI"]
    1.25
    """
    return ask_rules(facts_of_model(model, tick_s, delay_s), tick_s)


def ask_rules(facts: RuleFacts, tick_s: float) -> RuleAnswers:
    """Ask every rule about a plant, from `facts_of_model` or `facts_of_plant`."""
    proposals, refusals = [], []
    for rule in RULES:
        try:
            proposals.append(_propose(rule, facts, tick_s))
        except InputError as refusal:
            refusals.append(Refusal(rule, str(refusal)))
    return RuleAnswers(tuple(proposals), tuple(refusals))


def _propose(rule: Rule, facts: RuleFacts, tick_s: float) -> Proposal:
    choice = rule.choose(facts)
    stated = choice.stated
    ideal = stated.ideal() if isinstance(stated, Series) else stated
    warnings = [*choice.warnings, *_range_warnings(rule, facts)]
    return Proposal(
        rule=rule,
        stated=stated,
        ideal=ideal,
        gains=ideal.parallel(),
        setpoint_weight=choice.setpoint_weight,
        warnings=(*warnings, *_tick_warnings(ideal, tick_s)),
    )


def _range_warnings(rule: Rule, facts: RuleFacts) -> list[str]:
    low, high = rule.ratio
    if not rule.ratio_source or low <= facts.delay_over_lag <= high:
        return []
    return [f"dead time over lag {facts.delay_over_lag:.2g}, meant for {rule.valid}"]


def _tick_warnings(ideal: Ideal, tick_s: float) -> list[str]:
    warnings = []
    if tick_s > LONGEST_TICK * ideal.ti_s:
        warnings.append(f"tick above {LONGEST_TICK:g} ti: coarse (from memory)")
    if 0.0 < ideal.td_s < tick_s:
        warnings.append(f"td {ideal.td_s:.2g} s is below a tick: D is mostly noise")
    return warnings
