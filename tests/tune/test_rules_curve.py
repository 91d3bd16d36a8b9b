"""Step answers: tangents, times, areas and the models read off them.

Source: REFERENCES.md, section 10.2: closed form for 1/(s+1)^3 and 1/(s+1)^4;
the rules that read them are from memory. Tolerance: one unit of the last digit
printed; 3e-7 of the time where the steepest point is found by a minimiser.
"""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rule_plants import lags

from host_sim.errors import InputError
from host_sim.tune.models import INTEGRATING, SECOND, Model
from host_sim.tune.rules_curve import step_curve
from host_sim.tune.rules_facts import RuleFacts
from host_sim.tune.rules_plant import DelayedPlant, model_plant
from host_sim.tune.rules_reduce import (
    fitted_second_order,
    late_two_point_model,
    model_error,
    reductions,
    two_point_model,
)

THIRD, FOURTH = lags(1.0, 1.0, 1.0), lags(1.0, 1.0, 1.0, 1.0)


def test_curve_of_three_lags_matches_the_table():
    curve = step_curve(THIRD)
    assert curve.steepest_s == pytest.approx(2.0, abs=1e-6)
    assert curve.slope_per_s == pytest.approx(2.0 * math.exp(-2.0), rel=1e-9)
    assert curve.slope_per_s == pytest.approx(0.2706706, abs=1e-7)
    assert curve.delay_s == pytest.approx(0.8054720, abs=1e-6)
    assert curve.slope_per_s * curve.delay_s == pytest.approx(0.2180175, abs=3e-7)
    assert curve.gain / curve.slope_per_s == pytest.approx(3.694528, abs=1e-6)
    # y(2) = 0.3233236: the tangent's height at its own point.
    height = curve.slope_per_s * (curve.steepest_s - curve.delay_s)
    assert height == pytest.approx(0.3233236, abs=1e-6)
    assert curve.times_s[3] == pytest.approx(3.258252, abs=1e-6)
    assert curve.lag_s == pytest.approx(2.452781, abs=2e-6)
    assert curve.residence_s == pytest.approx(3.0, rel=1e-12)


def test_curve_of_three_lags_passes_the_shares_where_the_table_says():
    # Section 9: t28.3, t35.3 and t85.3 of 1/(s+1)^3.
    t28_s, t35_s, _, _, t85_s = step_curve(THIRD).times_s
    assert (t28_s, t35_s, t85_s) == pytest.approx(
        (1.850736, 2.109747, 4.753581), abs=1e-6
    )


def test_two_point_models_of_three_lags_match_the_table():
    curve = step_curve(THIRD)
    smith, late = two_point_model(curve), late_two_point_model(curve)
    assert smith.time_constant_s == pytest.approx(2.110389, abs=1e-6)
    assert smith.dead_time_s == pytest.approx(1.147273, abs=1e-6)
    assert late.time_constant_s == pytest.approx(1.771369, abs=1e-6)
    assert late.dead_time_s == pytest.approx(1.364133, abs=1e-6)


def test_curve_of_four_lags_matches_the_table():
    curve = step_curve(FOURTH)
    assert curve.delay_s == pytest.approx(1.425436, abs=1e-6)
    assert curve.slope_per_s == pytest.approx(0.224042, abs=1e-6)
    assert curve.slope_per_s * curve.delay_s == pytest.approx(0.319357, abs=1e-6)
    assert curve.times_s[3] == pytest.approx(4.351993, abs=1e-6)
    assert curve.lag_s == pytest.approx(2.926556, abs=2e-6)


positive = st.floats(1e-2, 1e2)


@given(positive, positive, st.floats(0.0, 10.0))
def test_curve_of_a_lag_with_dead_time_is_exact(gain, lag_s, delay_s):
    curve = step_curve(lags(lag_s, gain=gain, delay_s=delay_s))
    assert curve.gain == pytest.approx(gain)
    assert curve.slope_per_s == pytest.approx(gain / lag_s)
    assert curve.delay_s == pytest.approx(delay_s, abs=1e-9 * lag_s)
    assert curve.lag_s == pytest.approx(lag_s)
    assert curve.residence_s == pytest.approx(delay_s + lag_s)


@settings(max_examples=settings.default.max_examples // 4)
@given(positive, st.floats(0.05, 1.0), st.floats(0.0, 3.0))
def test_fitted_second_order_finds_two_lags_with_dead_time(lag_s, ratio, share):
    delay_s = share * lag_s
    plant = lags(lag_s, ratio * lag_s, delay_s=delay_s)
    model = fitted_second_order(plant, step_curve(plant))
    assert model.dead_time_s == pytest.approx(delay_s, abs=2e-3 * lag_s)
    assert sum(model.lags_s) == pytest.approx((1.0 + ratio) * lag_s, rel=2e-3)


def test_model_error_is_zero_for_the_plant_itself_and_seen_for_another():
    facts = RuleFacts(lags(2.0, 0.5, delay_s=0.3))
    found = {each.name: each for each in reductions(facts)}
    assert found["half rule, two lags"].error == pytest.approx(0.0, abs=1e-9)
    assert found["half rule, one lag"].error > 0.05
    turned = Model(SECOND, 2.0, 0.3, 1.0, 1.25)
    assert model_error(turned, facts) == pytest.approx(1.0, abs=1e-9)


def test_reductions_give_a_reason_where_there_is_no_model():
    integrator = model_plant(Model(INTEGRATING, 0.3, 0.1), 0.0)
    found = reductions(RuleFacts(integrator))
    assert [each.model is not None for each in found] == [True] + 4 * [False]
    assert all(each.reason for each in found[1:])


def test_two_point_model_refuses_an_answer_faster_than_a_lag():
    # A short lag beside a long one: sum of 0.9/(0.01 s + 1) and 0.1/(10 s + 1).
    a = np.diag([-100.0, -0.1])
    plant = DelayedPlant(a, np.array([90.0, 0.01]), np.ones(2), 0.0)
    with pytest.raises(InputError, match="starts faster than a lag's"):
        late_two_point_model(step_curve(plant))


@pytest.mark.parametrize(
    ("model", "words"),
    [
        (Model(INTEGRATING, 0.3, 0.1), "integrator"),
        (Model(SECOND, 1.0, 0.1, 1.0, 0.5), "more than 5 %"),
    ],
)
def test_curve_refuses_what_is_no_lag_with_dead_time(model, words):
    with pytest.raises(InputError, match=words):
        step_curve(model_plant(model, 0.0))
