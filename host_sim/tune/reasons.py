"""What tuning chose and why, in plain words."""

from host_sim.law.quantise import quantise
from host_sim.law.read_back import kept_gains
from host_sim.scenario.tuning import Limits
from host_sim.tune.bench import Row
from host_sim.tune.rest import REST_TICKS, WATCH_S, Deadband
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
    sentences = [
        f"Gains kc {choice.kc:g} %/%, ti {choice.ti_s:g} s, td {choice.td_s:g} s: of "
        f"{tuned.tries} choices tried, those that settle the slowest machine soonest "
        f"within the limits: {best.settling_s:.2f} s for all steps, {_against(tuned)}.",
        f"Set-point weight {choice.weight:.2g}: so much of a step passes the "
        "proportional term at once; less holds the overshoot down.",
        f"Derivative filter {1e3 * choice.filter_s:.3g} ms, td over "
        f"{choice.td_s / choice.filter_s:.2g}; tracking {choice.tracking_s:.3g} s, "
        f"{choice.tracking_s / choice.ti_s:.2g} ti: found together with the gains.",
        _of_deadband(tuned.deadband, best.law.tick_s),
        _of_compensation(tuned),
        f"The slowest machine is {best.slowest.in_words()}.",
        _of_quantisation(tuned),
    ]
    if best.unsettled:
        sentences.append(
            f"{best.unsettled} steps do not settle on that machine: give the command "
            "longer steps, or widen run.settle_band."
        )
    return sentences


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


def _of_deadband(deadband: Deadband, tick_s: float) -> str:
    watched_s = max(WATCH_S, REST_TICKS * tick_s)
    width, seen, rest = 100.0 * deadband.width, 100.0 * deadband.seen, deadband.rest
    swung = f"{rest.reversals} reversals in {watched_s:g} s"
    if rest.hunts:
        return (
            f"Deadband {width:.3g} %, the widest that the settle band allows, and the "
            f"output still hunts: {swung} at {100 * rest.share:.0f} % on "
            f"{rest.member.in_words()}; less hysteresis or noise would help."
        )
    if width == 0.0:
        return (
            f"No deadband: the output comes to rest without one on every machine, at "
            f"most {swung} (noise and converter move the reading by {seen:.2g} %)."
        )
    return (
        f"Deadband {width:.3g} %, {deadband.width / deadband.seen:.1f} times what "
        f"noise and converter move the reading: the smallest tried with which the "
        f"output comes to rest on every machine, at most {swung}; "
        f"{deadband.tried[-2][1].reversals} with {100 * deadband.tried[-2][0]:.3g} %."
    )


def _of_compensation(tuned: Tuned) -> str:
    strength = tuned.best.law.supply.strength
    if len(tuned.strengths) == 1:
        return (
            f"Supply compensation stays at {100 * strength:.0f} %: the output is a "
            "pressure demand here, which a sagging supply does not weaken."
        )
    told = ", ".join(
        f"{100 * tried:.0f} %: {row.settling_s:.2f} s and "
        f"{100 * row.overshoot:.1f} % overshoot"
        for tried, row in tuned.strengths
    )
    return f"Supply compensation {100 * strength:.0f} %; the worst machine at {told}."


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
        "worst_settling_s": row.settling_s,
        "worst_overshoot_percent": 100 * row.overshoot,
        "worst_travel_strokes_per_step": row.travel,
        "ms": row.ms,
        "steps_not_settled": row.unsettled,
        "holds_limits": row.holds(limits),
        "slowest_machine": row.slowest.in_words(),
        "worst_machines": row.worst,
    }
