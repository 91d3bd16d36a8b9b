"""What limits say of figures: pass, marginal, fail, and by how much."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from host_sim.accept.figures import AT_MOST, Figure
from host_sim.accept.limits import Limits

PASS, MARGINAL, FAIL = "pass", "marginal", "fail"
NOT_JUDGED = "measured, not judged"
NOT_MEASURED = "not measured"


@dataclass(frozen=True)
class Verdict:
    """A figure beside its limit.

    Attributes
    ----------
    figure : Figure
    limit, margin : float or None
        In the figure's unit. The margin is what is left to the limit, below 0
        beyond it.
    word : str
        `PASS`, `MARGINAL` (within the limit by less than the guard share of
        it), `FAIL` (beyond it), `NOT_JUDGED` (no limit), or `NOT_MEASURED`,
        which is no pass.
    """

    figure: Figure
    limit: float | None
    margin: float | None
    word: str


def judge(figures: Iterable[Figure], limits: Limits | None) -> list[Verdict]:
    """Hold every figure against its limit.

    ``margin = limit - |measured|``, or ``measured - limit`` where the limit is
    the least; marginal while ``0 <= margin < guard * limit``.

    Parameters
    ----------
    figures : iterable of Figure
    limits : Limits or None
        None: nothing is judged.

    Returns
    -------
    list of Verdict
        One for each figure, in order.

    Notes
    -----
    Source: own rule; a figure beyond its limit fails however close it is.

    Examples
    --------
    >>> limits = Limits({"hysteresis": 0.5})
    >>> [verdict] = judge([Figure("hysteresis", "", 0.48)], limits)
    >>> verdict.word, verdict.margin
    ('marginal', 0.02)
    """
    return [_judge(figure, limits) for figure in figures]


def _judge(figure: Figure, limits: Limits | None) -> Verdict:
    limit = limits.limits.get(figure.name) if limits else None
    if figure.measured is None:
        return Verdict(figure, limit, None, NOT_MEASURED)
    if limits is None or limit is None:
        return Verdict(figure, None, None, NOT_JUDGED)
    if figure.known.sense == AT_MOST:
        margin = limit - abs(figure.measured)
    else:
        margin = figure.measured - limit
    # A reading on its limit passes, whatever its last binary digits.
    margin = round(margin, 9)
    if margin < 0.0:
        return Verdict(figure, limit, margin, FAIL)
    word = MARGINAL if margin < limits.guard * limit else PASS
    return Verdict(figure, limit, margin, word)


def verdict_as_dict(verdict: Verdict) -> dict[str, Any]:
    """Write a verdict with units in the keys, for JSON."""
    key = verdict.figure.known.key
    return {
        f"measured_{key}": verdict.figure.measured,
        f"limit_{key}": verdict.limit,
        f"margin_{key}": verdict.margin,
        "limit_is": verdict.figure.known.sense,
        "verdict": verdict.word,
        "text": verdict.figure.text,
    }
