"""The numbers that tuning chooses, as a point in a box and as a law."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from host_sim.law.settings import Gains, LawSettings
from host_sim.loop.rig import FloatArray

WIDER = 4.0
"""Factor by which the box reaches beyond the gains it is built around."""
FILTERS = (2.0, 20.0)
"""Derivative time over the lag on the derivative: common practice is 5 ... 20."""
TRACKING = (0.1, 2.0)
"""Tracking time over integral time; common practice: between td and ti."""
WEIGHTS = (0.0, 1.0)


@dataclass(frozen=True)
class Choice:
    """Gains in ideal form, and what goes with them.

    ``filter_ratio`` is td over the derivative's lag, ``tracking_ratio`` the
    tracking time over ti.
    """

    kc: float
    ti_s: float
    td_s: float
    weight: float
    filter_ratio: float
    tracking_ratio: float

    def law(self, base: LawSettings) -> LawSettings:
        """Put the choice into a law; the rest stays."""
        pid = replace(
            base.pid,
            gains=Gains.from_ideal(self.kc, self.ti_s, self.td_s),
            weight=self.weight,
            derivative_filter_s=self.td_s / self.filter_ratio,
            tracking_s=max(self.tracking_ratio * self.ti_s, base.tick_s),
        )
        return replace(base, pid=pid)


@dataclass(frozen=True)
class Box:
    """Where choices are sought: logarithmic in all but the weight."""

    low: FloatArray
    high: FloatArray

    def choice(self, point: FloatArray) -> Choice:
        """Turn a point into a choice."""
        kc, ti_s, td_s, filter_ratio, tracking_ratio = np.exp(point[:5]).tolist()
        return Choice(kc, ti_s, td_s, float(point[5]), filter_ratio, tracking_ratio)

    def point(self, choice: Choice) -> FloatArray:
        """Turn a choice into the nearest point of the box."""
        logarithmic = (
            choice.kc,
            choice.ti_s,
            choice.td_s,
            choice.filter_ratio,
            choice.tracking_ratio,
        )
        free = [math.log(max(number, 1e-12)) for number in logarithmic]
        return np.clip([*free, choice.weight], self.low, self.high)


def box_around(gains: Sequence[Gains], tick_s: float) -> Box:
    """Make a box around some gains.

    Parameters
    ----------
    gains : sequence of Gains
        At least one; those without integral or derivative action bound nothing
        there.
    tick_s : float
        A derivative time shorter than a tick is noise [s].

    Returns
    -------
    Box
    """
    kcs = [each.kp for each in gains if each.kp > 0.0]
    tis = [each.ti_s for each in gains if math.isfinite(each.ti_s) and each.ti_s > 0.0]
    tds = [each.td_s for each in gains if each.td_s > tick_s]
    shortest = min(tis, default=20.0 * tick_s)
    spans = [
        (min(kcs, default=0.1) / WIDER, max(kcs, default=10.0) * WIDER),
        (shortest / WIDER, max(tis, default=2000.0 * tick_s) * WIDER),
        (tick_s / 2.0, max(tds, default=shortest) * WIDER),
        FILTERS,
        TRACKING,
    ]
    low, high = (np.log([span[end] for span in spans]) for end in (0, 1))
    return Box(np.append(low, WEIGHTS[0]), np.append(high, WEIGHTS[1]))
