"""The numbers that tuning chooses, as a point in a box and as a law."""

import math
from collections.abc import Sequence
from dataclasses import astuple, dataclass, replace

import numpy as np

from host_sim.law.settings import Gains, LawSettings, Pid
from host_sim.loop.rig import FloatArray

DIGITS = 4
"""Significant digits of what is tried, so that a file holds it exactly."""
WIDER = 4.0
"""Factor by which the box reaches beyond the gains it is built around."""
FEWEST_TICKS = 0.1
"""Shortest derivative time in ticks: next to none."""
FILTERS = (1.0, 30.0)
"""Derivative time over the lag on the derivative; common practice is 5 ... 20."""
TRACKINGS = (0.03, 3.0)
"""Tracking time over integral time; common practice: between td and ti."""
WEIGHTS = (0.0, 1.0)
PLAIN = ((0.1, 10.0), (20.0, 2000.0))
"""Gains, and integral times in ticks, where nothing else bounds the box."""


@dataclass(frozen=True)
class Choice:
    """Gains in ideal form, set-point weight, derivative filter and tracking."""

    kc: float
    ti_s: float
    td_s: float
    weight: float
    filter_s: float
    tracking_s: float

    def law(self, base: LawSettings) -> LawSettings:
        """Put the choice into a law; the rest stays."""
        pid = replace(
            base.pid,
            gains=Gains.from_ideal(self.kc, self.ti_s, self.td_s),
            weight=self.weight,
            derivative_filter_s=self.filter_s,
            tracking_s=max(self.tracking_s, base.tick_s),
        )
        return replace(base, pid=pid)


def choice_of(pid: Pid) -> Choice:
    """Read a choice off a law's controller, which has proportional action."""
    gains = pid.gains
    return Choice(
        gains.kp,
        gains.ti_s,
        gains.td_s,
        pid.weight,
        pid.derivative_filter_s,
        pid.tracking_s,
    )


@dataclass(frozen=True)
class Box:
    """Where choices are sought.

    A point has the logarithms of kc, ti, td, of td over the filter's lag and of
    the tracking time over ti, and the weight.
    """

    low: FloatArray
    high: FloatArray

    def choice(self, point: FloatArray) -> Choice:
        """Turn a point into a choice of few digits."""
        kc, ti_s, td_s, filter_ratio, tracking_ratio = np.exp(point[:5]).tolist()
        exact = Choice(
            kc,
            ti_s,
            td_s,
            float(point[5]),
            td_s / filter_ratio,
            tracking_ratio * ti_s,
        )
        return Choice(*(rounded(number) for number in astuple(exact)))

    def point(self, choice: Choice) -> FloatArray:
        """Turn a choice into the nearest point of the box."""
        ti_s = min(choice.ti_s, math.exp(self.high[1]))
        numbers = (
            choice.kc,
            ti_s,
            choice.td_s,
            choice.td_s / choice.filter_s if choice.filter_s else math.inf,
            choice.tracking_s / ti_s,
        )
        with np.errstate(divide="ignore"):
            free = np.log(numbers)
        point: FloatArray = np.clip([*free, choice.weight], self.low, self.high)
        return point


def rounded(number: float) -> float:
    """Round to `DIGITS` significant digits.

    >>> rounded(0.0123456)
    0.01235
    """
    return float(f"{number:.{DIGITS}g}")


def box_around(gains: Sequence[Gains], tick_s: float) -> Box:
    """Make a box around some gains.

    Parameters
    ----------
    gains : sequence of Gains
        Those without integral or derivative action bound nothing there.
    tick_s : float
        Of the law [s].

    Returns
    -------
    Box
    """
    kcs = [each.kp for each in gains if each.kp > 0.0] or list(PLAIN[0])
    tis_s = [each.ti_s for each in gains if math.isfinite(each.ti_s) and each.ti_s]
    tis_s = tis_s or [ticks * tick_s for ticks in PLAIN[1]]
    tds_s = [each.td_s for each in gains if each.td_s]
    spans = [
        (min(kcs) / WIDER, max(kcs) * WIDER),
        (min(tis_s) / WIDER, max(tis_s) * WIDER),
        (FEWEST_TICKS * tick_s, max(*tds_s, WIDER * min(tis_s)) * WIDER),
        FILTERS,
        TRACKINGS,
    ]
    low, high = (np.log([span[end] for span in spans]) for end in (0, 1))
    return Box(np.append(low, WEIGHTS[0]), np.append(high, WEIGHTS[1]))
