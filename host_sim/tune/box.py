"""The box in which choices are sought: around gains that others propose."""

import math
from collections.abc import Sequence

import numpy as np

from host_sim.law.block import FULL
from host_sim.law.settings import Gains
from host_sim.plant.settings import ChainPlant, PilotLag
from host_sim.scenario.load import Scenario
from host_sim.tune.choice import Box
from host_sim.tune.rest import smallest_seen

WIDER = 4.0
"""Factor by which the box reaches beyond the gains it is built around."""
FEWEST_TICKS = 0.1
"""Shortest derivative time in ticks: next to none."""
FILTERS = (1.0, 30.0)
"""Derivative time over the lag on the derivative; common practice is 5 ... 20."""
TRACKINGS = (0.03, 3.0)
"""Tracking time over integral time; common practice: between td and ti."""
WEIGHTS = (0.0, 1.0)
WIDEST = 0.5
"""Deadband over settle band: a wider one would settle outside it."""
STRENGTHS = (0.0, 1.0)
PLAIN = ((0.1, 10.0), (20.0, 2000.0))
"""Gains, and integral times in ticks, where nothing else bounds the box."""


def box_around(gains: Sequence[Gains], scenario: Scenario) -> Box:
    """Make a box around some gains.

    The deadband is at least what noise and converter move the reading by.

    Parameters
    ----------
    gains : sequence of Gains
        Those without integral or derivative action bound nothing there.
    scenario : Scenario
        Whose law it is.

    Returns
    -------
    Box
    """
    tick_s = scenario.law.tick_s
    kcs = [each.kp for each in gains if each.kp > 0.0] or list(PLAIN[0])
    tis_s = [each.ti_s for each in gains if math.isfinite(each.ti_s) and each.ti_s]
    tis_s = tis_s or [ticks * tick_s for ticks in PLAIN[1]]
    tds_s = [each.td_s for each in gains]
    logarithmic = [
        (min(kcs) / WIDER, max(kcs) * WIDER),
        (min(tis_s) / WIDER, max(tis_s) * WIDER),
        (FEWEST_TICKS * tick_s, max([*tds_s, WIDER * min(tis_s)]) * WIDER),
        FILTERS,
        TRACKINGS,
    ]
    plain = [WEIGHTS, _deadbands(scenario), _strengths(scenario)]
    low, high = (
        np.append(
            np.log([span[end] for span in logarithmic]), [span[end] for span in plain]
        )
        for end in (0, 1)
    )
    return Box(low, high)


def _deadbands(scenario: Scenario) -> tuple[float, float]:
    seen = math.ceil(smallest_seen(scenario) * FULL) / FULL
    return seen, max(seen, WIDEST * scenario.settle_band)


def _strengths(scenario: Scenario) -> tuple[float, float]:
    """Leave the compensation alone where the output is a pressure demand."""
    if asks_for_pressure(scenario):
        strength = scenario.law.supply.strength
        return strength, strength
    return STRENGTHS


def asks_for_pressure(scenario: Scenario) -> bool:
    """Whether the output is a pressure demand, which no supply weakens."""
    built = scenario.plant.arrangement
    return isinstance(built, ChainPlant) and isinstance(built.pilot, PilotLag)
