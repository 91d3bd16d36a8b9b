"""What tuning rules ask of a plant: models, step curve, ultimate point."""

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from host_sim.errors import InputError
from host_sim.law.settings import LawSettings
from host_sim.measure.frequency import reading_over_pa
from host_sim.measure.margins import ultimate_point
from host_sim.plant.linear import LinearPlant
from host_sim.plant.settings import Channel
from host_sim.tune.models import Model
from host_sim.tune.rules_curve import StepCurve, step_curve
from host_sim.tune.rules_formulas import Ultimate
from host_sim.tune.rules_half import half_rule
from host_sim.tune.rules_plant import (
    DelayedPlant,
    Process,
    model_plant,
    moving,
    process_of,
    scaled_plant,
)

AROUND = 1e-3
"""Lowest frequency sought for the ultimate point over the slowest of the plant."""


@dataclass(frozen=True)
class RuleFacts:
    """A plant with all the dead time of its loop, as rules see it.

    Each fact is found when a rule first asks, and refused with `InputError`
    where the plant has no such thing.
    """

    plant: DelayedPlant

    @cached_property
    def process(self) -> Process:
        """Gain, lags and leads."""
        return process_of(self.plant)

    @cached_property
    def first(self) -> Model:
        """One lag, or an integrator, and dead time, by the half rule."""
        return half_rule(self.process, 1)

    @cached_property
    def second(self) -> Model:
        """Two lags and dead time, by the half rule."""
        return half_rule(self.process, 2)

    @cached_property
    def curve(self) -> StepCurve:
        """The step answer."""
        return step_curve(self.plant)

    @cached_property
    def ultimate(self) -> Ultimate:
        """The plant under P alone, about to swing."""
        poles = np.linalg.eigvals(self.plant.a).astype(complex)
        poles, _ = moving(poles, float(np.abs(poles).max()))
        rates, delay_s = np.abs(poles).tolist(), self.plant.delay_s
        if delay_s > 0.0:
            # The dead time alone has turned by a whole circle there.
            rates.append(2.0 * math.pi / delay_s)
        else:
            rates.append(max(rates, default=1.0) / AROUND)
        low, high = AROUND * min(rates), max(rates)
        gain, rad_s = ultimate_point(self.plant.response, low, high)
        if math.isinf(gain):
            raise InputError(
                "no ultimate point: the plant never turns by half a circle"
            )
        return Ultimate(gain, 2.0 * math.pi / rad_s)

    @cached_property
    def delay_over_lag(self) -> float:
        """Dead time over lag of the step curve; 0 of an integrator."""
        if self.process.integrating:
            return 0.0
        return self.curve.delay_s / self.curve.lag_s


def loop_delay_s(law: LawSettings, compute_delay_ticks: int) -> float:
    """Dead time that a law adds to that of a plant: computing and filter.

    ``n h + tf``; the hold's ``h/2`` is added with the tick.

    Notes
    -----
    Source: Skogestad, J. Process Control 13 (2003) 291-309: small lags count as
    dead time; second-hand.

    >>> loop_delay_s(LawSettings(0.01), 2)
    0.02
    """
    return compute_delay_ticks * law.tick_s + law.measurement.filter_s


def facts_of_model(model: Model, tick_s: float, delay_s: float) -> RuleFacts:
    """Prepare a model, gain as share of range over share of drive.

    Parameters
    ----------
    model : Model
    tick_s : float
        Of which half, by which the hold delays, is added to the dead time [s].
    delay_s : float
        Dead time of the loop outside the model, as `loop_delay_s` [s].

    Returns
    -------
    RuleFacts

    Raises
    ------
    InputError
        A gain below 0, a tick or delay below 0.
    """
    return RuleFacts(model_plant(model, _added_s(tick_s, delay_s)))


def facts_of_plant(
    plant: LinearPlant,
    channel: Channel,
    law: LawSettings,
    compute_delay_ticks: int = 0,
) -> RuleFacts:
    """Prepare a linearised plant; parameters as `open_loop`.

    Dead time: transport delay of the channel, half a tick for the hold, the
    law's pressure filter and computing delay.
    """
    added_s = _added_s(law.tick_s, loop_delay_s(law, compute_delay_ticks))
    per_pa = reading_over_pa(channel, law)
    return RuleFacts(scaled_plant(plant, per_pa, channel.delay_s + added_s))


def _added_s(tick_s: float, delay_s: float) -> float:
    for name, time_s in (("tick", tick_s), ("dead time of the loop", delay_s)):
        if not 0.0 <= time_s < math.inf:
            raise InputError(f"{name}: {time_s:g} s must be 0 s or more")
    return tick_s / 2.0 + delay_s
