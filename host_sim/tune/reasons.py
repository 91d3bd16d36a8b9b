"""What tuning chose and why, in plain words."""

from host_sim.law.quantise import quantise
from host_sim.law.read_back import kept_gains
from host_sim.scenario.tuning import Limits
from host_sim.tune.bench import Bench, Row
from host_sim.tune.rest import smallest_seen
from host_sim.tune.tune import Tuned


def reasons(tuned: Tuned) -> list[str]:
    """Explain the choice.

    Parameters
    ----------
    tuned : Tuned

    Returns
    -------
    list of str
        One sentence or two on each thing chosen.
    """
    best, choice = tuned.best, tuned.choice
    return [
        f"Gains kc {choice.kc:g} %/%, ti {choice.ti_s:g} s, td {choice.td_s:g} s: of "
        f"{tuned.tries} choices tried, those that settle the slowest machine soonest "
        f"within the limits: {best.settling_s:.2f} s for all steps, {_against(tuned)}.",
        f"Set-point weight {choice.weight:.2g}: so much of a step passes the "
        "proportional term at once; less holds the overshoot down.",
        f"Derivative filter {choice.filter_s:.3g} s, td over "
        f"{choice.td_s / choice.filter_s:.2g}; tracking {choice.tracking_s:.3g} s, "
        f"{choice.tracking_s / choice.ti_s:.2g} ti: found together with the gains.",
        _of_deadband(tuned),
        _of_compensation(tuned),
        f"The slowest machine is {best.slowest.in_words()}.",
        _of_quantisation(tuned),
    ]


def _against(tuned: Tuned) -> str:
    rule = tuned.best_rule
    if rule is None:
        return "where no published rule settles every machine"
    gained = 100.0 * (1.0 - tuned.best.settling_s / rule.settling_s)
    word = "less" if gained >= 0.0 else "more"
    return (
        f"{abs(gained):.0f} % {word} than the quickest published rule that settles "
        f"every machine ({rule.name}, {rule.settling_s:.2f} s, "
        f"{100 * rule.overshoot:.0f} % overshoot against "
        f"{100 * tuned.best.overshoot:.1f} %)"
    )


def _of_deadband(tuned: Tuned) -> str:
    best, window = tuned.best, tuned.bench.resting[0].window
    watched_s = window.ticks * best.law.tick_s
    seen = smallest_seen(tuned.scenario)
    return (
        f"Deadband {100 * tuned.choice.deadband:.3g} %, acting again half as much "
        f"beyond: noise and converter move the reading by {100 * seen:.2g} %, and the "
        f"output must come to rest; reversals in {watched_s:.3g} s, noise apart: "
        f"{best.reversals:.0f}, on {best.worst['hunting']}."
    )


def _of_compensation(tuned: Tuned) -> str:
    strength = 100 * tuned.choice.strength
    if not tuned.strengths:
        return (
            f"Supply compensation stays at {strength:.0f} %: the output is a pressure "
            "demand here, which a sagging supply does not weaken."
        )
    told = ", ".join(
        f"at {100 * tried:.0f} % {row.settling_s:.2f} s and {100 * row.overshoot:.1f} %"
        for tried, row in tuned.strengths
    )
    return (
        f"Supply compensation {strength:.0f} %, found together with the gains; with "
        f"these, settling and overshoot of the worst machines would be {told}."
    )


def _of_quantisation(tuned: Tuned) -> str:
    law = tuned.best.law
    worst = max(
        (gain for gain in kept_gains(law, quantise(law)) if gain.wanted),
        key=lambda gain: abs(gain.relative_error),
    )
    return (
        f"The board keeps these gains within {100 * abs(worst.relative_error):.2g} % "
        f"({worst.name} is furthest off)."
    )


def notes(bench: Bench) -> list[str]:
    """Say which rules did not answer, and what a reader of a model should know."""
    refused = [
        f"{refusal.rule.name}{asked.suffix}: {refusal.reason}"
        for asked in bench.asked
        for refusal in asked.answers.refusals
    ]
    return [*refused, *bench.notes]


def row_as_dict(row: Row, limits: Limits) -> dict[str, object]:
    """Turn a row into plain numbers, units in the keys."""
    gains = row.law.pid.gains
    return {
        "name": row.name,
        "kc": gains.kp,
        "ti_s": gains.ti_s,
        "td_s": gains.td_s,
        "setpoint_weight": row.law.pid.weight,
        "derivative_filter_s": row.law.pid.derivative_filter_s,
        "tracking_s": row.law.pid.tracking_s,
        "deadband_percent": 100 * row.law.pid.deadband,
        "supply_compensation_percent": 100 * row.law.supply.strength,
        "worst_settling_s": row.settling_s,
        "worst_overshoot_percent": 100 * row.overshoot,
        "worst_travel_strokes_per_step": row.travel,
        "ms": row.ms,
        "reversals_at_rest": row.reversals,
        "steps_not_settled": row.unsettled,
        "holds_limits": row.holds(limits),
        "slowest_machine": row.slowest.in_words(),
        "worst_machines": row.worst,
    }
