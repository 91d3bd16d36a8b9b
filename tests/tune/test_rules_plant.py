"""Gain, lags and leads of linear plants, drawn ones and linearised machines.

The factors must give back the plant's own frequency response; the plants' response
itself is checked in tests/plant and tests/measure.
"""

import numpy as np
import pytest
from bench_plant import chain_plant, direct_plant
from hypothesis import given
from hypothesis import strategies as st
from rule_plants import lags

from host_sim.errors import InputError
from host_sim.plant.linear import linearise
from host_sim.plant.operating_point import operating_point
from host_sim.tune.models import FIRST, INTEGRATING, SECOND, Model
from host_sim.tune.rules_plant import (
    DelayedPlant,
    model_plant,
    process_of,
    scaled_plant,
)


def response_of(process, frequency_rad_s):
    s = 1j * frequency_rad_s
    gain = process.gain * np.exp(-s * process.delay_s)
    for lead_s in process.leads_s:
        gain = gain * (1.0 + lead_s * s)
    for lag_s in process.lags_s:
        gain = gain / (1.0 + lag_s * s)
    return gain / s if process.integrating else gain


def assert_same_response(plant, process, rel=1e-6):
    rates = 1.0 / np.array([1.0, *process.lags_s])
    frequency = np.geomspace(0.01 * rates.min(), 10.0 * rates.max(), 60)
    assert response_of(process, frequency) == pytest.approx(
        plant.response(frequency), rel=rel
    )


def parallel(*parts):
    """Sum of first-order lags: its zeros are nowhere among its numbers."""
    gains, lags_s = np.array(parts).T
    return DelayedPlant(
        np.diag(-1.0 / lags_s), gains / lags_s, np.ones(len(parts)), 0.1
    )


apart = st.lists(st.integers(-6, 6), min_size=2, max_size=4, unique=True)


@given(apart, st.lists(st.floats(0.2, 5.0), min_size=4, max_size=4))
def test_process_gives_back_a_sum_of_lags(exponents, gains):
    plant = parallel(*zip(gains, [2.0**k for k in exponents], strict=False))
    process = process_of(plant)
    assert process.gain == pytest.approx(sum(gains[: len(exponents)]))
    assert len(process.leads_s) == len(process.lags_s) - 1
    assert_same_response(plant, process)


def test_process_finds_a_zero_in_the_right_half_plane():
    # 2/(s+1) - 1/(0.2 s+1) = (1 - 0.6 s)/((s+1)(0.2 s+1))
    process = process_of(parallel((2.0, 1.0), (-1.0, 0.2)))
    assert process.leads_s == pytest.approx((-0.6,))
    assert process.lags_s == pytest.approx((1.0, 0.2))
    assert process.gain == pytest.approx(1.0)


MACHINES = {
    "valve without bleed": (direct_plant(load_l=0.5), {}, True),
    "valve with bleed": (direct_plant(load_l=0.5, bleed=0.5), {}, False),
    "booster": (chain_plant(load_l=2.0), {"consumption_kg_s": 1e-3}, False),
}


@pytest.mark.parametrize("name", MACHINES)
def test_process_gives_back_a_linearised_machine(name):
    settings, outflow, integrating = MACHINES[name]
    point = operating_point(settings, 4e5, **outflow)
    plant = scaled_plant(linearise(point), 1.0 / 6e5, 0.02)
    process = process_of(plant)
    assert process.integrating is integrating
    assert process.delay_s == 0.02
    # Real poles alone give back the response; pairs only keep their sum.
    if (abs(np.linalg.eigvals(plant.a).imag) < 1e-9).all():
        assert_same_response(plant, process, rel=1e-5)
    else:
        low = np.array([1e-3 / process.lags_s[0]])
        assert response_of(process, low) == pytest.approx(plant.response(low), rel=1e-5)


@given(st.floats(0.71, 0.999), st.floats(0.1, 10.0))
def test_pair_of_poles_counts_as_two_lags_with_its_residence_time(damping, time_s):
    process = process_of(model_plant(Model(SECOND, 1.0, 0.0, time_s, damping), 0.0))
    assert sum(process.lags_s) == pytest.approx(2.0 * damping * time_s, rel=1e-6)
    assert process.lags_s[0] == pytest.approx(process.lags_s[1], rel=1e-6)


@pytest.mark.parametrize(
    ("model", "lags_s", "integrating"),
    [
        (Model(FIRST, 2.0, 0.3, 1.5), (1.5,), False),
        (Model(SECOND, 2.0, 0.3, 1.0, 1.25), (2.0, 0.5), False),
        (Model(INTEGRATING, 2.0, 0.3), (), True),
    ],
)
def test_model_becomes_a_plant_with_its_numbers(model, lags_s, integrating):
    process = process_of(model_plant(model, 0.2))
    assert process.gain == pytest.approx(2.0)
    assert process.lags_s == pytest.approx(lags_s)
    assert process.delay_s == pytest.approx(0.5)
    assert process.integrating is integrating


A = np.array
REFUSALS = {
    "swings": (model_plant(Model(SECOND, 1.0, 0.0, 1.0, 0.4), 0.0), "damping 0.4"),
    "grows": (DelayedPlant(A([[0.5]]), A([1.0]), A([1.0]), 0.0), "grows by itself"),
    "falls": (lags(1.0, gain=-2.0), "gain -2"),
    "two integrators": (
        DelayedPlant(A([[0.0, 1.0], [0.0, 0.0]]), A([0.0, 1.0]), A([1.0, 0.0]), 0.0),
        "2 integrators",
    ),
    "differentiates": (
        DelayedPlant(A([[-1.0, 0.0], [1.0, -1.0]]), A([1.0, 0.0]), A([1.0, -1.0]), 0.0),
        "-1 integrators",
    ),
}


@pytest.mark.parametrize("name", REFUSALS)
def test_process_refuses_what_no_rule_is_for(name):
    plant, words = REFUSALS[name]
    with pytest.raises(InputError, match=words):
        process_of(plant)


def test_model_with_a_negative_gain_is_refused_with_the_remedy():
    with pytest.raises(InputError, match="reverse the drive"):
        model_plant(Model(FIRST, -1.0, 0.0, 1.0), 0.0)
