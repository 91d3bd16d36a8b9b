"""Which published rules there are, what each asks of a plant, and its limits."""

import math
from collections.abc import Callable
from dataclasses import dataclass

from host_sim.errors import InputError
from host_sim.law.settings import INFINITE
from host_sim.tune import rules_formulas as formulas
from host_sim.tune.forms import Ideal, Series
from host_sim.tune.rules_facts import RuleFacts

LAMBDA_INTEGRATING = 3.0
"""Closed-loop time constant over dead time, for an integrator."""


@dataclass(frozen=True)
class Choice:
    """Gains in the rule's own form, set-point weight, and what speaks against."""

    stated: Ideal | Series
    setpoint_weight: float = 1.0
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class Rule:
    """One controller of one published rule.

    ``ratio`` is the range of dead time over lag (0: an integrator) for which it
    is meant, and ``ratio_source`` who says so; by default no limit is known.
    ``choose`` raises `InputError` where the rule has no answer.
    """

    name: str
    source: str
    choose: Callable[[RuleFacts], Choice]
    ratio: tuple[float, float] = (0.0, INFINITE)
    ratio_source: str = ""

    @property
    def valid(self) -> str:
        """The ratios for which the rule is meant, in words."""
        low, high = self.ratio
        if not self.ratio_source:
            return "no limit known"
        limits = f"{low:g} or more" if math.isinf(high) else f"{low:g} ... {high:g}"
        return f"{limits} ({self.ratio_source})"


def _need_delay(delay_s: float) -> None:
    if delay_s <= 0.0:
        raise InputError("no dead time: the rule would ask for infinite gain")


def _need_lag(facts: RuleFacts) -> None:
    if facts.process.integrating:
        raise InputError("stated for a plant with a lag, not for an integrator")


def _step_test(facts: RuleFacts) -> tuple[float, float, float]:
    """Gain, lag and dead time that a step test would give."""
    _need_lag(facts)
    _need_delay(facts.curve.delay_s)
    return facts.curve.gain, facts.curve.lag_s, facts.curve.delay_s


def _ziegler_nichols_step(facts: RuleFacts, terms: str) -> Choice:
    if facts.process.integrating:
        delay_s, slope_per_s = facts.first.dead_time_s, facts.first.gain
    else:
        delay_s, slope_per_s = facts.curve.delay_s, facts.curve.slope_per_s
    _need_delay(delay_s)
    found = formulas.ziegler_nichols_step(slope_per_s * delay_s, delay_s)
    return Choice(found[terms])


def _ziegler_nichols_frequency(facts: RuleFacts, terms: str) -> Choice:
    return Choice(formulas.ziegler_nichols_frequency(facts.ultimate)[terms])


def _cohen_coon(facts: RuleFacts, terms: str) -> Choice:
    return Choice(formulas.cohen_coon(*_step_test(facts))[terms])


def _amigo(facts: RuleFacts, terms: str) -> Choice:
    if facts.process.integrating:
        first = facts.first
        _need_delay(first.dead_time_s)
        found = formulas.amigo_integrating(first.gain, first.dead_time_s)
    else:
        found = formulas.amigo(*_step_test(facts))
    # Up to a dead time as long as the lag; for the PID, from memory.
    weight = 0.0 if terms == "PID" and facts.delay_over_lag <= 1.0 else 1.0
    return Choice(found[terms], weight)


def _simc_pi(facts: RuleFacts) -> Choice:
    first = facts.first
    dead_s = first.dead_time_s
    _need_delay(dead_s)
    if facts.process.integrating:
        return Choice(formulas.simc_integrating(first.gain, dead_s, dead_s))
    (lag_s,) = first.shape
    return Choice(formulas.simc(first.gain, lag_s, dead_s, dead_s))


def _simc_pid(facts: RuleFacts) -> Choice:
    _need_lag(facts)
    second = facts.second
    (longer_s, shorter_s), dead_s = second.lags_s, second.dead_time_s
    _need_delay(dead_s)
    stated = formulas.simc(second.gain, longer_s, dead_s, dead_s, shorter_s)
    warnings: tuple[str, ...] = ()
    if shorter_s < dead_s:
        warnings = ("second lag below the dead time: D gains little (second-hand)",)
    return Choice(stated, warnings=warnings)


def _lambda_pi(facts: RuleFacts) -> Choice:
    first = facts.first
    dead_s = first.dead_time_s
    if facts.process.integrating:
        _need_delay(dead_s)
        closed_loop_s = LAMBDA_INTEGRATING * dead_s
        return Choice(formulas.imc_integrating(first.gain, dead_s, closed_loop_s))
    (lag_s,) = first.shape
    return Choice(formulas.lambda_pi(first.gain, lag_s, dead_s, lag_s))


def _imc(facts: RuleFacts, terms: str) -> Choice:
    _need_lag(facts)
    first = facts.first
    (lag_s,), dead_s = first.shape, first.dead_time_s
    least_s = 0.2 * lag_s
    filters_s = max(1.7 * dead_s, least_s), max(0.8 * dead_s, least_s)
    return Choice(formulas.imc(first.gain, lag_s, dead_s, filters_s)[terms])


_ZIEGLER_NICHOLS = "Ziegler and Nichols, Trans. ASME 64 (1942) 759-768, second-hand"
_COHEN_COON = "Cohen and Coon, Trans. ASME 75 (1953) 827-834, from memory"
_AMIGO = "Astrom and Haegglund, J. Process Control 14 (2004) 635-650, from memory"
_SIMC = "Skogestad, J. Process Control 13 (2003) 291-309, second-hand"
_LAMBDA = "common practice, from memory; closed loop as slow as the plant"
_IMC = (
    "Rivera, Morari and Skogestad, Ind. Eng. Chem. Process Des. Dev. 25 (1986) 252, "
    "from memory; filter the shortest that it allows"
)
_TEXTBOOKS = "textbooks, from memory"
_SLUGGISH = "below it slow against loads; common practice, no source"


def _rules(
    name: str,
    all_terms: tuple[str, ...],
    source: str,
    choose: Callable[[RuleFacts, str], Choice],
    ratio: tuple[float, float] = (0.0, INFINITE),
    ratio_source: str = "",
) -> tuple[Rule, ...]:
    """List a source's controllers."""

    def chooser(terms: str) -> Callable[[RuleFacts], Choice]:
        return lambda facts: choose(facts, terms)

    return tuple(
        Rule(f"{name} {terms}", source, chooser(terms), ratio, ratio_source)
        for terms in all_terms
    )


_ALL = ("P", "PI", "PID")
RULES = (
    *_rules(
        "Z-N step",
        _ALL,
        _ZIEGLER_NICHOLS,
        _ziegler_nichols_step,
        (0.1, 1.0),
        _TEXTBOOKS,
    ),
    *_rules("Z-N frequency", _ALL, _ZIEGLER_NICHOLS, _ziegler_nichols_frequency),
    *_rules("Cohen-Coon", _ALL, _COHEN_COON, _cohen_coon, (0.0, 1.0), _TEXTBOOKS),
    Rule("SIMC PI", _SIMC, _simc_pi),
    Rule("SIMC PID", _SIMC, _simc_pid),
    *_rules("AMIGO", ("PI", "PID"), _AMIGO, _amigo),
    Rule("lambda PI", _LAMBDA, _lambda_pi, (0.1, INFINITE), _SLUGGISH),
    *_rules("IMC", ("PI", "PID"), _IMC, _imc, (0.1, INFINITE), _SLUGGISH),
)
"""Every rule, in the order of tables."""
