"""How long a model takes to answer a step."""

import math

import numpy as np

from host_sim.measure.curve import FloatArray
from host_sim.tune.models import FIRST, INTEGRATING, HeldInput, Model, unit_answer

_POINTS = 4_000


def answer_time_s(model: Model, share: float) -> float:
    """Time from a step to the last entry into the final value's band.

    The band is ``1 - share`` of the step either side; the dead time counts. An
    integrator has answered once its dead time is over.

    Parameters
    ----------
    model : Model
    share : float
        0 ... 1 [-].

    Returns
    -------
    float
        [s]

    Examples
    --------
    >>> answer_time_s(Model(FIRST, 1.0, 0.5, 2.0), 0.95)
    6.4915
    """
    if model.form == INTEGRATING:
        return model.dead_time_s
    if model.form == FIRST:
        return model.dead_time_s - model.shape[0] * math.log(1.0 - share)
    time_constant_s, damping = model.shape
    slowness = max(2.0 * damping, 1.0 / damping)
    longest_s = -1.5 * time_constant_s * slowness * math.log(1.0 - share)
    time_s = np.linspace(0.0, longest_s + 5.0 * time_constant_s, _POINTS)
    outside = np.abs(step_answer(model, time_s) - 1.0) > 1.0 - share
    return model.dead_time_s + float(time_s[np.flatnonzero(outside)[-1] + 1])


def step_answer(model: Model, time_s: FloatArray) -> FloatArray:
    """Answer to a unit step at 0 s: unit gain, no dead time."""
    held = HeldInput(np.array([0.0]), np.array([0.0, 1.0]))
    return unit_answer(model.form, model.shape, held, time_s)


def rise_time_s(model: Model) -> float:
    """Time from 10 to 90 % of an answer; infinite for an integrator."""
    if model.form == INTEGRATING:
        return math.inf
    slowest_s = model.shape[0] * (1.0 if model.form == FIRST else 2.0 * model.shape[1])
    time_s = np.linspace(0.0, 5.0 * max(slowest_s, model.shape[0]), _POINTS)
    risen = step_answer(model, time_s)
    return float(time_s[np.argmax(risen >= 0.9)] - time_s[np.argmax(risen >= 0.1)])
