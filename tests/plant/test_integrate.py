"""The exponential step: closed forms, exact lags, and its order on whole plants."""

import math

import numpy as np
import pytest
from drawn_plants import ARRANGEMENTS, THERMALS, TOP_PA, smooth_case
from hypothesis import given
from hypothesis import strategies as st

from host_sim.plant import integrate
from host_sim.plant.channel import FULL_COUNTS
from host_sim.plant.exponential import step_coefficients
from host_sim.plant.integrate import step
from host_sim.plant.plant import Plant
from host_sim.plant.settings import (
    Channel,
    DirectPlant,
    DirectValve,
    PlantSettings,
    Restriction,
    Sensing,
    Supply,
    Volume,
)

SHUT = Restriction(0.0)


@pytest.fixture
def run(monkeypatch):
    """End state of ``dx/dt = N(x) - x / lag``; the rates given are N alone."""

    def look(state, inputs, params, view):
        view[:] = state

    def run_steps(rates_of, start, lag_rates, step_s, steps=1):
        monkeypatch.setattr(integrate, "look", look)
        monkeypatch.setattr(integrate, "rates_of", rates_of)
        state, view = list(start), list(start)
        work = [[0.0] * len(start) for _ in range(4)]
        coefficients = step_coefficients(lag_rates, step_s)
        for _ in range(steps):
            step(state, [], [], view, *work, coefficients)
            view[:] = state
        return state

    return run_steps


def decay(inputs, params, view, rates):
    rates[0] = -view[0]


def oscillator(inputs, params, view, rates):
    rates[0] = view[1]
    rates[1] = -view[0]


def lagged_sine(inputs, params, view, rates):
    """A clock, and a lag of 0.1 s whose input is the sine of the time."""
    rates[0] = 1.0
    rates[1] = 10.0 * math.sin(view[0])


def test_step_without_lag_is_the_exponential_series_to_fourth_order(run):
    (found,) = run(decay, [1.0], [0.0], 0.5)
    series = sum((-0.5) ** k / math.factorial(k) for k in range(5))
    assert found == pytest.approx(series, rel=1e-15)


def test_error_falls_with_the_fourth_power_of_the_step(run):
    coarse, fine = (
        math.dist(run(oscillator, [1.0, 0.0], [0.0] * 2, math.tau / n, n), (1.0, 0.0))
        for n in (100, 200)
    )
    assert coarse / fine == pytest.approx(16.0, rel=0.05)


def test_lag_behind_a_moving_input_has_order_four(run):
    """Closed form: (sin t - a cos t + a e^(-t/a)) / (1 + a**2) with a = 0.1."""
    exact = math.sin(2.0) - 0.1 * math.cos(2.0) + 0.1 * math.exp(-20.0)
    errors = [
        abs(run(lagged_sine, [0.0, 0.0], [0.0, 10.0], 2.0 / n, n)[1] - exact / 1.01)
        for n in (10, 20, 40)
    ]
    orders = np.log2(np.divide(errors[:-1], errors[1:]))
    assert orders == pytest.approx([4.0, 4.0], abs=0.25)


# Lags in a plant.


@given(st.floats(1e-6, 1e3), st.floats(1e-3, 1.0))
def test_sensor_lag_is_exact_for_a_held_input_at_any_step(lag_s, tick_s):
    """A source that steps, seen through a lag: 1 - exp(-t / lag)."""
    supply = Supply(7e5, changes=((tick_s, 4e5),))
    sensor = Channel(0.0, 1e6, bits=None, lag_s=lag_s)
    load = Volume(1e-3, 2e5)
    plant = DirectPlant(DirectValve(SHUT, SHUT), load, supply)
    plant = Plant(PlantSettings(plant, sensing=Sensing(sensor, sensor)), tick_s)
    assert plant.substeps == 1
    for k in range(4):
        plant.advance(0.0)
        expected_pa = 4e5 + 3e5 * math.exp(-k * tick_s / lag_s)
        seen_pa = 1e6 * plant.sense()[1] / FULL_COUNTS
        assert seen_pa == pytest.approx(expected_pa, rel=1e-12)


@given(st.floats(1e-4, 1.0), st.sampled_from([1, 2, 5]))
def test_valve_lag_is_exact_for_a_held_drive(lag_s, factor):
    valve = DirectValve(SHUT, SHUT, lag_s=lag_s)
    channel = Channel(0.0, 1e6)
    plant = DirectPlant(valve, Volume(1e-3, 2e5), Supply(7e5))
    settings = PlantSettings(plant, sensing=Sensing(channel, channel))
    plant = Plant(settings, 0.01, factor)
    for k in range(1, 6):
        plant.advance(0.8)
        expected = -0.8 * math.expm1(-k * 0.01 / lag_s)
        assert plant.opening == pytest.approx(expected, rel=1e-12)


def end_of(case, factor):
    """Load, sensed and sensed supply pressure at the end [Pa]."""
    plant = Plant(case.settings, case.tick_s, factor)
    for drive in case.drives:
        plant.advance(drive)
    sensed_pa = [TOP_PA * counts / FULL_COUNTS for counts in plant.sense()]
    return np.array([plant.pressures_pa().load, *sensed_pa])


@pytest.mark.parametrize("thermal", THERMALS)
@pytest.mark.parametrize("arrangement", ARRANGEMENTS)
def test_whole_plant_has_order_four_where_it_is_smooth(arrangement, thermal):
    case = smooth_case(arrangement, thermal)
    exact = end_of(case, 32)
    errors = [abs(end_of(case, factor) - exact) for factor in (2, 4, 8)]
    orders = np.log2(np.divide(errors[:-1], errors[1:]))
    print(arrangement, thermal, orders.round(2).tolist())
    assert errors[0].min() > 1e-6
    assert orders.min() > 3.9
    assert orders.max() < 4.5
