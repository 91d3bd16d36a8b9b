"""A linear plant as a small model: by the half rule and from its step answer."""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from host_sim.errors import InputError
from host_sim.measure.margins import FloatArray
from host_sim.tune.models import FIRST, SECOND, HeldInput, Model, unit_answer
from host_sim.tune.rules_curve import StepCurve
from host_sim.tune.rules_facts import RuleFacts
from host_sim.tune.rules_half import second_order
from host_sim.tune.rules_plant import DelayedPlant, model_plant

FIT_POINTS = 400
FIT_RESIDENCES = 4.0
"""Length of the fitted step answer over its mean residence time."""


@dataclass(frozen=True)
class Reduction:
    """A small model of a plant, or the reason why there is none.

    ``error`` is how far its gain is off at the plant's ultimate frequency, where
    controllers work: magnitude of ``model/plant - 1``.
    """

    name: str
    source: str
    model: Model | None
    error: float = math.inf
    reason: str = ""


def reductions(facts: RuleFacts) -> tuple[Reduction, ...]:
    """Reduce a plant in every way that is known here.

    Dead times hold all that the loop adds, as in the facts.
    """
    found = []
    for name, source, reduce in _WAYS:
        try:
            model = reduce(facts)
        except InputError as refusal:
            found.append(Reduction(name, source, None, reason=str(refusal)))
        else:
            error = model_error(model, facts)
            found.append(Reduction(name, source, model, error))
    return tuple(found)


def model_error(model: Model, facts: RuleFacts) -> float:
    """Find a model's relative error at the plant's ultimate frequency.

    Raises
    ------
    InputError
        A plant without dead time, whose ultimate frequency is not sought.
    """
    frequency_rad_s = np.array([2.0 * math.pi / facts.ultimate.period_s])
    wanted = facts.plant.response(frequency_rad_s)[0]
    found = model_plant(model, 0.0).response(frequency_rad_s)[0]
    return float(abs(found / wanted - 1.0))


def two_point_model(curve: StepCurve) -> Model:
    """First order from 28.3 and 63.2 %: ``T = 1.5 (t63 - t28)``, ``L = t63 - T``.

    Raises
    ------
    InputError
        The dead time comes out below 0.

    Notes
    -----
    Source: Smith (1972), from memory.
    """
    t28_s, _, t63_s, *_ = curve.times_s
    lag_s = 1.5 * (t63_s - t28_s)
    return _first_order(curve.gain, t63_s - lag_s, lag_s)


def late_two_point_model(curve: StepCurve) -> Model:
    """First order from 35.3 and 85.3 %.

    ``T = 0.67 (t85 - t35)``, ``L = 1.3 t35 - 0.29 t85``.

    Raises
    ------
    InputError
        The dead time comes out below 0.

    Notes
    -----
    Source: Sundaresan and Krishnaswamy (1978), from memory.
    """
    _, t35_s, *_, t85_s = curve.times_s
    dead_time_s = 1.3 * t35_s - 0.29 * t85_s
    return _first_order(curve.gain, dead_time_s, 0.67 * (t85_s - t35_s))


def _first_order(gain: float, dead_time_s: float, lag_s: float) -> Model:
    if dead_time_s < 0.0:
        raise InputError(
            f"dead time comes out as {dead_time_s:.3g} s: the answer starts faster "
            "than a lag's"
        )
    return Model(FIRST, gain, dead_time_s, lag_s)


def fitted_second_order(plant: DelayedPlant, curve: StepCurve) -> Model:
    """Second order with real lags, fitted to the step answer by least squares.

    Of the lags, the ratio and the dead time are found; the gain is the curve's.

    Parameters
    ----------
    plant : DelayedPlant
    curve : StepCurve
        Of that plant.

    Returns
    -------
    Model

    Notes
    -----
    Source: no source; `scipy.optimize.least_squares`.
    """
    moving_s = curve.residence_s - plant.delay_s
    time_s = np.linspace(0.0, FIT_RESIDENCES * moving_s, FIT_POINTS)
    wanted = curve.answer(time_s) / curve.gain
    step = HeldInput(np.zeros(1), np.array([0.0, 1.0]))

    def model_of(unknowns: FloatArray) -> Model:
        longer_s, delay_s = float(unknowns[0]) * moving_s, float(unknowns[2]) * moving_s
        return second_order(1.0, longer_s, longer_s * float(unknowns[1]), delay_s)

    def residuals(unknowns: FloatArray) -> FloatArray:
        model = model_of(unknowns)
        undelayed_s = time_s - model.dead_time_s
        return unit_answer(SECOND, model.shape, step, undelayed_s) - wanted

    bounds = ((1e-3, 1e-6, 0.0), (2.0, 1.0, 1.0))
    found = model_of(least_squares(residuals, (0.6, 0.5, 0.1), bounds=bounds).x)
    delay_s = plant.delay_s + found.dead_time_s
    longer_s, shorter_s = found.lags_s
    return second_order(curve.gain, longer_s, shorter_s, delay_s)


_HALF = "Skogestad (2003), second-hand"
_WAYS: tuple[tuple[str, str, Callable[[RuleFacts], Model]], ...] = (
    ("half rule, one lag", _HALF, lambda facts: facts.first),
    ("half rule, two lags", _HALF, lambda facts: facts.second),
    (
        "28.3 and 63.2 % of the step",
        "Smith (1972), from memory",
        lambda facts: two_point_model(facts.curve),
    ),
    (
        "35.3 and 85.3 % of the step",
        "Sundaresan, Krishnaswamy (1978), from memory",
        lambda facts: late_two_point_model(facts.curve),
    ),
    (
        "least squares, two lags",
        "no source",
        lambda facts: fitted_second_order(facts.plant, facts.curve),
    ),
)
