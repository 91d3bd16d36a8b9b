"""Identified models held against textbook plants.

Check values, typed in from this project's collection:

1. Ultimate points of FOPDT plants (10.1): closed form ``w L + atan(w T) = pi``,
   ``Ku = sqrt(1 + (w T)^2) / K``. The record is free of noise, rows 1/50 of the
   lag apart, steps half way between rows, so the fit is exact but for rounding;
   tolerance 1e-4.
2. 1/(s+1)^n (10.1, 10.2): ultimate points ``tan(pi/n)``, ``(1 + w^2)^(n/2)``; the
   times to 28.3, 35.3, 63.2 and 85.3 %, the steepest slope and the average
   residence time n, closed forms; the times are those of Smith's and of
   Sundaresan and Krishnaswamy's methods, from memory, recomputed. A second order
   with dead time stands for n equal lags: the error is one of the model's form,
   and the fitted trend takes up a part of it (gain up to 2.6 % low, n = 5).
   Tolerances 1 % on the times, 3 % on gain, slope and residence time, 5 % on the
   ultimate gain, twice of it on its frequency.
3. Margins of 1/(s+1)^3 in a loop (11), printed by python-control 0.10.2,
   ``stability_margins``, or exact where a fraction stands. Tolerance 3 % on Ms
   and 10 % on the gain margin, as 2.

The records are made with python-control 0.10.2, ``step_response``, not with the
project's own models.
"""

import math

import control
import numpy as np
import pytest
from identify_records import START_PA, as_record
from scipy.optimize import brentq

from host_sim.measure.margins import measure_margins
from host_sim.tune.identify import identify
from host_sim.tune.models import FIRST, SECOND
from host_sim.tune.models_answer import step_answer

PER_DRIVE_PA = 1e5
STEP = 0.2


def record_of(system, dead_time_s, duration_s, interval_s):
    """Step a general library's plant half way between two rows."""
    time_s = np.arange(0.0, duration_s, interval_s)
    start_s = (round(0.15 * duration_s / interval_s) - 0.5) * interval_s
    fine_s = np.linspace(0.0, duration_s, 10_001)
    _, answer = control.step_response(system, fine_s)
    risen = np.interp(time_s - start_s - dead_time_s, fine_s, answer, left=0.0)
    pressure_pa = START_PA + STEP * PER_DRIVE_PA * risen
    return as_record(time_s, 0.4 + STEP * (time_s > start_s), pressure_pa)


def response_of(model):
    """Frequency response over the gain of the record's pressures."""

    def response(frequency_rad_s):
        s = 1j * frequency_rad_s
        if model.form == FIRST:
            denominator = model.time_constant_s * s + 1.0
        else:
            t, damping = model.shape
            denominator = t * t * s * s + 2.0 * damping * t * s + 1.0
        gain = model.gain / PER_DRIVE_PA
        return gain * np.exp(-model.dead_time_s * s) / denominator

    return response


@pytest.mark.parametrize(
    ("gain", "lag_s", "dead_time_s", "ultimate_gain", "ultimate_rad_s"),
    [
        (1.0, 1.0, 0.1, 16.350554, 16.319945),
        (1.0, 1.0, 0.5, 3.806883, 3.673194),
        (1.0, 1.0, 1.0, 2.261826, 2.028758),
        (1.0, 10.0, 2.0, 8.502425, 0.844341),
        (2.0, 10.0, 2.0, 8.502425 / 2.0, 0.844341),
    ],
)
def test_identify_finds_fopdt_plants_and_their_ultimate_points(
    gain, lag_s, dead_time_s, ultimate_gain, ultimate_rad_s
):
    system = control.tf([gain], [lag_s, 1.0])
    record = record_of(system, dead_time_s, 12.0 * lag_s, lag_s / 50.0)
    model = identify(record).best.fit.model
    assert model.form == FIRST
    assert model.gain == pytest.approx(gain * PER_DRIVE_PA, rel=1e-4)
    assert model.time_constant_s == pytest.approx(lag_s, rel=1e-4)
    assert model.dead_time_s == pytest.approx(dead_time_s, abs=1e-4 * lag_s)
    found = measure_margins(response_of(model), 1e-3 / lag_s, 1e3 / lag_s)
    assert found.gain_margin == pytest.approx(ultimate_gain, rel=1e-3)
    assert found.phase_crossover_rad_s == pytest.approx(ultimate_rad_s, rel=1e-3)


@pytest.fixture(scope="module")
def equal_lags():
    """Identify 1/(s+1)^n once for each n."""

    def model_of(n):
        system = control.tf([1.0], np.poly(-np.ones(n)))
        return identify(record_of(system, 0.0, 14.0 + 4.0 * n, 0.05)).best.fit.model

    return {n: model_of(n) for n in (3, 4, 5)}


def reach_s(model, share):
    def missing(time_s):
        return float(step_answer(model, np.array([time_s]))[0]) - share

    return model.dead_time_s + brentq(missing, 0.0, 60.0)


@pytest.mark.parametrize("n", [3, 4, 5])
def test_identify_stands_for_equal_lags_at_their_ultimate_point(equal_lags, n):
    model = equal_lags[n]
    assert model.form == SECOND
    found = measure_margins(response_of(model), 1e-3, 1e2)
    rad_s = math.tan(math.pi / n)
    assert found.gain_margin == pytest.approx((1 + rad_s**2) ** (n / 2), rel=0.05)
    assert found.phase_crossover_rad_s == pytest.approx(rad_s, rel=0.1)


@pytest.mark.parametrize("n", [3, 4, 5])
def test_identify_keeps_gain_and_residence_time_of_equal_lags(equal_lags, n):
    model = equal_lags[n]
    assert model.gain == pytest.approx(PER_DRIVE_PA, rel=0.03)
    residence_s = model.dead_time_s + 2.0 * model.damping * model.time_constant_s
    assert residence_s == pytest.approx(n, rel=0.03)


@pytest.mark.parametrize(
    ("n", "share", "time_s"),
    [
        (3, 0.283, 1.850736),
        (3, 0.353, 2.109747),
        (3, 1.0 - math.exp(-1.0), 3.258252),
        (3, 0.853, 4.753581),
        (4, 1.0 - math.exp(-1.0), 4.351993),
    ],
)
def test_identify_answers_a_step_when_equal_lags_do(equal_lags, n, share, time_s):
    assert reach_s(equal_lags[n], share) == pytest.approx(time_s, rel=0.01)


@pytest.mark.parametrize(("n", "slope"), [(3, 0.2706706), (4, 0.224042)])
def test_identify_is_as_steep_as_equal_lags(equal_lags, n, slope):
    time_s = np.linspace(0.0, 12.0, 12_001)
    steepest = np.gradient(step_answer(equal_lags[n], time_s), time_s).max()
    assert steepest == pytest.approx(slope, rel=0.03)


@pytest.mark.parametrize(
    ("controller", "gain_margin", "ms"),
    [
        (lambda s: 4.0, 2.0, 3.0),
        (lambda s: 2.0, 4.0, 5.0 / 3.0),
        (lambda s: 0.5 * (1.0 + 1.0 / (1.5 * s)), 6.744563, 1.431840),
    ],
)
def test_identify_gives_the_margins_of_loops_with_three_lags(
    equal_lags, controller, gain_margin, ms
):
    response = response_of(equal_lags[3])
    found = measure_margins(lambda w: controller(1j * w) * response(w), 1e-3, 1e2)
    assert found.ms == pytest.approx(ms, rel=0.03)
    assert found.gain_margin == pytest.approx(gain_margin, rel=0.1)
