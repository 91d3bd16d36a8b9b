"""The Runge-Kutta step on systems with a closed-form answer, put in its place."""

import math

import pytest

from host_sim.plant import integrate
from host_sim.plant.integrate import rk4_step


def oscillator(state, inputs, params, view, rates):
    rates[0] = state[1]
    rates[1] = -params[0] * state[0] + inputs[0]


def decay(state, inputs, params, view, rates):
    rates[0] = -state[0]


def end_of(steps):
    """One period of the undamped oscillator of unit frequency."""
    state, (rates, total, trial) = [1.0, 0.0], ([0.0] * 2 for _ in range(3))
    step_s = 2.0 * math.pi / steps
    for _ in range(steps):
        rk4_step(state, [0.0], [1.0], [], rates, total, trial, step_s)
    return state


def test_one_step_is_the_exponential_series_to_fourth_order(monkeypatch):
    monkeypatch.setattr(integrate, "rates_of", decay)
    state = [1.0]
    rk4_step(state, [], [], [], [0.0], [0.0], [0.0], 0.5)
    series = sum((-0.5) ** k / math.factorial(k) for k in range(5))
    assert state[0] == pytest.approx(series, rel=1e-15)


def test_error_falls_with_the_fourth_power_of_the_step(monkeypatch):
    monkeypatch.setattr(integrate, "rates_of", oscillator)
    coarse, fine = (math.dist(end_of(n), (1.0, 0.0)) for n in (100, 200))
    assert coarse / fine == pytest.approx(16.0, rel=0.05)
