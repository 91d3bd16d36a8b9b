"""Gains from an ultimate gain and period, by published rules, in whole numbers.

Ziegler and Nichols, Trans. ASME 64 (1942) 759-768: as in the host's `rules_formulas`.
Tyreus and Luyben, Ind. Eng. Chem. Res. 31 (1992) 2625-2628: from memory.
"""

from firmware_model.device.adjust_kinds import gain_words
from firmware_model.law.arith import const

_P_GAIN = const(71)
_D_GAIN = const(74)
_LEAK_GAIN = const(76)
_I_GAIN = const(78)
_TRACK_GAIN = const(80)
_FILTER_PART = const(8)

NAME = 0
GAIN = 1
INTEGRAL = 2
DERIVATIVE = 3

# Name; gain as a share of the ultimate gain; integral and derivative time as shares of
# the ultimate period, each (top, bottom); a top of 0 is none.
RULES = (
    ("ZN PI 1942", (45, 100), (10, 12), (0, 1)),
    ("ZN PID 1942", (6, 10), (1, 2), (1, 8)),
    ("ZN P 1942", (1, 2), (0, 1), (0, 1)),
    ("TL PI 1992", (31, 100), (22, 10), (0, 1)),
    ("TL PID 1992", (45, 100), (22, 10), (10, 63)),
)


def proposal(rule, gain_top: int, gain_bottom: int, period_q4: int):
    """Give the law's words for a rule.

    The derivative's filter is an eighth of the derivative time, the tracking time the
    geometric mean of integral and derivative time, or half the integral time without a
    derivative. Long integers: between two ticks.

    Parameters
    ----------
    rule : tuple
        Of `RULES`.
    gain_top, gain_bottom : int
        Ultimate gain, the safety factor in it.
    period_q4 : int
        Ultimate period, sixteenths of a tick.

    Returns
    -------
    tuple
        Pairs of slot and word; None where a gain does not fit.
    """
    share_top, share_bottom = rule[GAIN]
    top, bottom = gain_top * share_top, gain_bottom * share_bottom
    parts = [gain_words(_P_GAIN, top, bottom)]
    parts += _integral(rule, top, bottom, period_q4)
    parts += _derivative(rule, top, bottom, period_q4)
    edits = ()
    for part in parts:
        if part is None:
            return None
        edits += part
    return edits


def _integral(rule, top: int, bottom: int, period_q4: int):
    """``ki a tick = kp / ti``, and the tracking gain ``1 / tt``."""
    part, whole = rule[INTEGRAL]
    if not part:
        return [_none(_I_GAIN), _none(_TRACK_GAIN)]
    time_top, time_bottom = part * period_q4, 16 * whole
    gain = gain_words(_I_GAIN, top * time_bottom, bottom * time_top)
    lead, under = rule[DERIVATIVE]
    if lead:
        # tt = sqrt(ti td), in sixteenths of a tick
        squared = part * lead * period_q4 * period_q4 // (whole * under)
        tracking = gain_words(_TRACK_GAIN, 16, max(root(squared), 16))
    else:
        tracking = gain_words(_TRACK_GAIN, 2 * time_bottom, max(time_top, time_bottom))
    return [gain, tracking]


def _derivative(rule, top: int, bottom: int, period_q4: int):
    """``kd / (lag + h)`` and ``h / (lag + h)``."""
    part, whole = rule[DERIVATIVE]
    if not part:
        return [_none(_D_GAIN)]
    time_top, time_bottom = part * period_q4, 16 * whole
    # lag + h in ticks, with lag = td / 8
    sum_top = time_top + _FILTER_PART * time_bottom
    sum_bottom = _FILTER_PART * time_bottom
    gain = gain_words(
        _D_GAIN, top * time_top * sum_bottom, bottom * time_bottom * sum_top
    )
    return [gain, gain_words(_LEAK_GAIN, sum_bottom, sum_top)]


def _none(slot: int):
    """Switch a gain off."""
    return (slot, 0), (slot + 1, 1)


def root(square: int) -> int:
    """Give the whole part of a square root, by Newton's steps.

    >>> root(99), root(100), root(0)
    (9, 10, 0)
    """
    guess = square
    better = (guess + 1) // 2
    while better < guess:
        guess = better
        better = (guess + square // guess) // 2
    return guess
