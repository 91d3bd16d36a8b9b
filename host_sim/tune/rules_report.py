"""A study of rules as plain numbers and words, units in the keys."""

from dataclasses import asdict
from typing import Any

from host_sim.errors import InputError
from host_sim.measure.margin_study import margins_as_dict
from host_sim.tune.forms import Ideal, Series
from host_sim.tune.rules_reduce import Reduction, reductions
from host_sim.tune.rules_trial import RuleStudy, Trial


def series_or_reason(ideal: Ideal) -> Series | str:
    """Convert to the series form, or say why there is none."""
    try:
        return Series.of_ideal(ideal)
    except InputError as refusal:
        return str(refusal)


def rule_study_as_dict(study: RuleStudy) -> dict[str, Any]:
    """Turn a study into plain numbers and words.

    Gains are shares of drive over shares of range.
    """
    return {
        "tick_s": study.loop.law.tick_s,
        "compute_delay_ticks": study.loop.compute_delay_ticks,
        "dead_time_counted_s": study.facts.plant.delay_s,
        "ultimate_gain": study.facts.ultimate.gain,
        "ultimate_period_s": study.facts.ultimate.period_s,
        "models": [_reduction_as_dict(each) for each in reductions(study.facts)],
        "rules": [_trial_as_dict(trial) for trial in study.trials],
        "refused": [
            {"name": each.rule.name, "source": each.rule.source, "reason": each.reason}
            for each in study.answers.refusals
        ],
    }


def _reduction_as_dict(reduction: Reduction) -> dict[str, Any]:
    found: dict[str, Any] = {"name": reduction.name, "source": reduction.source}
    if reduction.model is None:
        return {**found, "reason": reduction.reason}
    model = reduction.model
    return {
        **found,
        **asdict(model),
        "lags_s": model.lags_s,
        "error_at_ultimate_frequency": reduction.error,
    }


def _trial_as_dict(trial: Trial) -> dict[str, Any]:
    proposal = trial.proposal
    series = series_or_reason(proposal.ideal)
    return {
        "name": proposal.rule.name,
        "source": proposal.rule.source,
        "meant_for_dead_time_over_lag": proposal.rule.valid,
        "stated_form": proposal.form,
        "ideal": asdict(proposal.ideal),
        "series": series if isinstance(series, str) else asdict(series),
        "parallel": asdict(proposal.gains),
        "setpoint_weight": proposal.setpoint_weight,
        "derivative_filter_s": proposal.derivative_filter_s,
        "warnings": proposal.warnings,
        "margins": margins_as_dict(trial.margins),
    }
