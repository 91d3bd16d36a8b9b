"""The half rule: a plant of many lags as one or two lags and dead time."""

import math

from host_sim.errors import InputError
from host_sim.tune.models import FIRST, INTEGRATING, SECOND, Model
from host_sim.tune.rules_plant import Process

CLOSE = 1.6
"""A lead takes the next shorter lag for its own only within this ratio."""
SLOW = 5.0
"""Delays beyond which lead and lag only change the gain."""
ROUNDS = 20
ROUNDING = 1e-9


def half_rule(process: Process, order: int) -> Model:
    """Reduce a process: the longest neglected lag is split half and half.

    Half of it goes to the dead time, half to the shortest kept lag; all shorter
    ones, and leads in the right half plane, to the dead time. An integrator
    takes no half. Other leads are first set off against lags.

    Parameters
    ----------
    process : Process
    order : int
        Lags to keep, 1 or 2; an integrator counts as the first of them, and is
        the only one that a model has.

    Returns
    -------
    Model

    Raises
    ------
    InputError
        Too few lags, or an integrator and order 2.

    Notes
    -----
    Source: Skogestad, J. Process Control 13 (2003) 291-309, half rule
    second-hand, leads (his rules T1 to T3) from memory.

    >>> model = half_rule(Process(1.0, (1.0, 0.2, 0.04, 0.008), 0.0), 1)
    >>> model.time_constant_s, model.dead_time_s
    (1.1, 0.148)
    """
    if process.integrating and order > 1:
        raise InputError("half rule: an integrating model has no further lag")
    rest_s = process.delay_s - sum(lead for lead in process.leads_s if lead < 0.0)
    delay_s = rest_s + sum(process.lags_s)
    for _ in range(ROUNDS):
        gain, lags_s = _set_off_leads(process, delay_s)
        kept_s, neglected_s = _split(lags_s, 0 if process.integrating else order)
        if math.isclose(delay_s, rest_s + neglected_s, rel_tol=ROUNDING):
            break
        delay_s = rest_s + neglected_s
    if process.integrating:
        return Model(INTEGRATING, gain, delay_s)
    if order == 1:
        return Model(FIRST, gain, delay_s, kept_s[0])
    return second_order(gain, kept_s[0], kept_s[1], delay_s)


def second_order(
    gain: float, lag_s: float, second_lag_s: float, dead_time_s: float
) -> Model:
    """Make a model of two real lags.

    ``T = sqrt(lag second_lag)``, ``damping = (lag + second_lag) / (2 T)``.
    """
    time_s = math.sqrt(lag_s * second_lag_s)
    damping = max((lag_s + second_lag_s) / (2.0 * time_s), 1.0)
    return Model(SECOND, gain, dead_time_s, time_s, damping)


def _split(lags_s: list[float], order: int) -> tuple[list[float], float]:
    """Part lags into those kept, half of the next added, and the delay of the rest."""
    if len(lags_s) < order:
        raise InputError(
            f"half rule: {len(lags_s)} lag(s) in the plant, no model of order {order}"
        )
    kept_s, rest_s = lags_s[:order], lags_s[order:]
    delay_s = sum(rest_s)
    if kept_s and rest_s:
        kept_s[-1] += rest_s[0] / 2.0
        delay_s -= rest_s[0] / 2.0
    return kept_s, delay_s


def _set_off_leads(process: Process, delay_s: float) -> tuple[float, list[float]]:
    """Cancel each left-half-plane lead against a lag of its own size."""
    gain, free_s, changed_s = process.gain, list(process.lags_s), []
    for lead_s in sorted((t for t in process.leads_s if t > 0.0), reverse=True):
        if not free_s:
            raise InputError("half rule: more leads than lags")
        lag_s = _neighbour(lead_s, free_s)
        free_s.remove(lag_s)
        factor, left_s = _cancel(lead_s, lag_s, delay_s)
        gain *= factor
        changed_s += [left_s] if left_s > 0.0 else []
    return gain, sorted(free_s + changed_s, reverse=True)


def _neighbour(lead_s: float, lags_s: list[float]) -> float:
    longer = min((t for t in lags_s if t >= lead_s), default=math.inf)
    shorter = max((t for t in lags_s if t < lead_s), default=0.0)
    if math.isinf(longer):
        return shorter
    # Exactly at the ratio, as in the source's own example, the longer one it is.
    allowed = min(longer / lead_s, CLOSE * (1.0 - ROUNDING))
    near = shorter > 0.0 and lead_s / shorter < allowed
    return shorter if near else longer


def _cancel(lead_s: float, lag_s: float, delay_s: float) -> tuple[float, float]:
    """Replace ``(lead s + 1)/(lag s + 1)`` by a gain and a lag, which may be 0."""
    if lead_s >= lag_s:
        return max(lead_s, delay_s) / max(lag_s, delay_s), 0.0
    if lead_s >= SLOW * delay_s:
        return lead_s / lag_s, 0.0
    shortened_s = min(lag_s, SLOW * delay_s)
    return shortened_s / lag_s, shortened_s - lead_s
