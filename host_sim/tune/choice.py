"""The numbers that tuning chooses, as a point in a box and as a law."""

import math
from dataclasses import astuple, dataclass, replace

import numpy as np

from host_sim.law.block import FULL
from host_sim.law.settings import Gains, LawSettings
from host_sim.loop.rig import FloatArray

DIGITS = 4
"""Significant digits of what is tried, so that a file holds it exactly."""
HYSTERESIS = 0.5
"""Of the deadband, to act again."""


@dataclass(frozen=True)
class Choice:
    """Gains in ideal form, set-point weight, and what goes with them.

    ``deadband`` is a share of the range, ``strength`` that of the supply
    compensation.
    """

    kc: float
    ti_s: float
    td_s: float
    filter_s: float
    tracking_s: float
    weight: float
    deadband: float
    strength: float

    def law(self, base: LawSettings) -> LawSettings:
        """Put the choice into a law; the rest stays."""
        pid = replace(
            base.pid,
            gains=Gains.from_ideal(self.kc, self.ti_s, self.td_s),
            weight=self.weight,
            derivative_filter_s=self.filter_s,
            tracking_s=max(self.tracking_s, base.tick_s),
            deadband=self.deadband,
            deadband_hysteresis=units(HYSTERESIS * self.deadband),
        )
        supply = replace(base.supply, strength=self.strength)
        return replace(base, pid=pid, supply=supply)


def choice_of(law: LawSettings) -> Choice:
    """Read a choice off a law that has proportional action."""
    pid = law.pid
    return Choice(
        kc=pid.gains.kp,
        ti_s=pid.gains.ti_s,
        td_s=pid.gains.td_s,
        filter_s=pid.derivative_filter_s,
        tracking_s=pid.tracking_s,
        weight=pid.weight,
        deadband=pid.deadband,
        strength=law.supply.strength,
    )


@dataclass(frozen=True)
class Box:
    """Where choices are sought.

    A point has the logarithms of kc, ti, td, of td over the derivative's lag and of
    the tracking time over ti; then weight, deadband and strength as they are.
    """

    low: FloatArray
    high: FloatArray

    def choice(self, point: FloatArray) -> Choice:
        """Turn a point into a choice of few digits."""
        kc, ti_s, td_s, filter_ratio, tracking_ratio = np.exp(point[:5]).tolist()
        weight, deadband, strength = point[5:].tolist()
        exact = Choice(
            kc,
            ti_s,
            td_s,
            td_s / filter_ratio,
            tracking_ratio * ti_s,
            weight,
            deadband,
            strength,
        )
        few = Choice(*(rounded(number) for number in astuple(exact)))
        return replace(few, deadband=units(deadband))

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
        plain = (choice.weight, choice.deadband, choice.strength)
        with np.errstate(divide="ignore"):
            point: FloatArray = np.append(np.log(numbers), plain)
        return point.clip(self.low, self.high)


def rounded(number: float) -> float:
    """Round to `DIGITS` significant digits.

    >>> rounded(0.0123456)
    0.01235
    """
    return float(f"{number:.{DIGITS}g}")


def units(share: float) -> float:
    """Round a share of the range to the law's signal units.

    >>> units(0.00105)
    0.00104
    """
    return round(share * FULL) / FULL
