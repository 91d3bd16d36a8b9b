"""The exponential step on systems with a closed-form answer, put in its place."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from host_sim.plant import integrate
from host_sim.plant.exponential import step_coefficients
from host_sim.plant.integrate import step


def run(monkeypatch, rates_of, start, lag_rates, step_s, steps=1):
    """End state of ``dx/dt = N(x) - x / lag``; the rates are N alone."""

    def look(state, inputs, params, view):
        view[:] = state

    monkeypatch.setattr(integrate, "look", look)
    monkeypatch.setattr(integrate, "rates_of", rates_of)
    state, view = list(start), list(start)
    work = [[0.0] * len(start) for _ in range(4)]
    coefficients = step_coefficients(lag_rates, step_s)
    for _ in range(steps):
        step(state, [], [], view, *work, coefficients)
        view[:] = state
    return state


def decay(inputs, params, view, rates):
    rates[0] = -view[0]


def oscillator(inputs, params, view, rates):
    rates[0] = view[1]
    rates[1] = -view[0]


def test_step_without_lag_is_the_exponential_series_to_fourth_order(monkeypatch):
    (found,) = run(monkeypatch, decay, [1.0], [0.0], 0.5)
    series = sum((-0.5) ** k / math.factorial(k) for k in range(5))
    assert found == pytest.approx(series, rel=1e-15)


def test_error_falls_with_the_fourth_power_of_the_step(monkeypatch):
    coarse, fine = (
        math.dist(
            run(monkeypatch, oscillator, [1.0, 0.0], [0.0, 0.0], math.tau / n, n),
            (1.0, 0.0),
        )
        for n in (100, 200)
    )
    assert coarse / fine == pytest.approx(16.0, rel=0.05)
