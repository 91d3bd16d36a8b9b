"""Step metrics against closed forms.

Sources: second order ``wn**2 / (s**2 + 2 zeta wn s + wn**2)`` with wn = 1,
first order and ``1 / (s + 1)**n``: textbook formulas. The decimals in the tables
were computed from those formulas by root finding and typed in to the digits
shown; the formulas that are short enough stand in the tests as well.

Tolerances: TYPED is one unit of the last digit typed in. The records have
GRID_S between samples; a straight line between samples is then wrong by less
than ``GRID_S**2 / 8 * |y''|``, divided by the slope at the crossing. In the
table |y''| stays below 4 slopes at every crossing: less than 5e-7 s.
"""

import numpy as np
import pytest
from scipy.special import gammaincinv

from host_sim.measure.step_metrics import StepMetrics, measure_step

GRID_S = 1e-3
TYPED = 1e-5
FROM_PA, TO_PA = 2e5, 5e5
SIZE_PA = TO_PA - FROM_PA


def measure(progress, time_s) -> StepMetrics:
    return measure_step(time_s, FROM_PA + SIZE_PA * progress, FROM_PA, TO_PA, 0.0)


def second_order(time_s, zeta):
    damped = np.sqrt(1.0 - zeta**2)
    wave = np.cos(damped * time_s) + zeta / damped * np.sin(damped * time_s)
    return 1.0 - np.exp(-zeta * time_s) * wave


def lags(time_s, count):
    """Unit step response of 1/(s + 1)**count."""
    terms = np.ones_like(time_s)
    series = np.zeros_like(time_s)
    for k in range(count):
        series = series + terms
        terms = terms * time_s / (k + 1)
    return 1.0 - np.exp(-time_s) * series


# zeta, overshoot %, peak time, rise 10-90 %, t50, settling 2 %, settling 5 %
SECOND_ORDER = [
    (0.2, 52.6621, 3.20637, 1.20343, 1.13327, 19.60190, 13.74444),
    (0.3, 37.2326, 3.29328, 1.32134, 1.18217, 11.23008, 10.13709),
    (0.4, 25.3827, 3.42776, 1.46349, 1.23559, 8.40932, 7.60878),
    (0.5, 16.3034, 3.62760, 1.63757, 1.29404, 8.07635, 5.28909),
    (0.6, 9.4780, 3.92699, 1.85405, 1.35803, 5.94299, 5.22905),
    (0.7, 4.5988, 4.39911, 2.12620, 1.42806, 5.97879, 2.89982),
    (0.8, 1.5165, 5.23599, 2.46749, 1.50459, 3.75584, 3.38535),
]


@pytest.mark.parametrize("row", SECOND_ORDER, ids=lambda row: f"zeta={row[0]}")
def test_step_metrics_match_second_order_table(row):
    zeta, overshoot, peak_s, rise_s, t50_s, settling_2_s, settling_5_s = row
    time_s = np.arange(60_001) * GRID_S

    metrics = measure(second_order(time_s, zeta), time_s)

    assert metrics.overshoot_percent == pytest.approx(overshoot, abs=1e-4)
    assert metrics.peak_time_s == pytest.approx(peak_s, abs=TYPED)
    assert metrics.rise_time_s == pytest.approx(rise_s, abs=TYPED)
    assert metrics.t50_s == pytest.approx(t50_s, abs=TYPED)
    assert metrics.settling_2_s == pytest.approx(settling_2_s, abs=TYPED)
    assert metrics.settling_5_s == pytest.approx(settling_5_s, abs=TYPED)


@pytest.mark.parametrize("zeta", [0.2, 0.35, 0.5, 0.65, 0.8])
def test_step_metrics_match_second_order_formulas(zeta):
    time_s = np.arange(60_001) * GRID_S
    damped = np.sqrt(1.0 - zeta**2)
    beyond = np.exp(-np.pi * zeta / damped)
    # On this grid the parabola is wrong by h**3 / (9 sqrt(3) damped) at most.
    height = 1e-9 / (9.0 * np.sqrt(3.0) * damped)

    metrics = measure(second_order(time_s, zeta), time_s)

    assert metrics.overshoot_percent == pytest.approx(100.0 * beyond, abs=100 * height)
    assert metrics.peak_pressure_pa == pytest.approx(
        TO_PA + beyond * SIZE_PA, abs=height * SIZE_PA
    )
    # The parabola's slope error h**2 max|y'''| / 6, divided by its curvature
    # |y''| = beyond at the peak.
    assert metrics.peak_time_s == pytest.approx(
        np.pi / damped, abs=1e-6 / (6.0 * beyond)
    )
    assert metrics.steady_error_pa == pytest.approx(0.0, abs=SIZE_PA * 1e-4)
    assert metrics.notes == ()


def test_step_metrics_match_first_order():
    time_s = np.arange(40_001) * GRID_S
    metrics = measure(1.0 - np.exp(-time_s), time_s)

    assert metrics.rise_time_s == pytest.approx(np.log(9.0), abs=1e-6)
    assert metrics.t50_s == pytest.approx(np.log(2.0), abs=1e-6)
    assert metrics.settling_5_s == pytest.approx(np.log(20.0), abs=1e-6)
    assert metrics.settling_2_s == pytest.approx(np.log(50.0), abs=1e-6)
    assert metrics.settling_1_s == pytest.approx(np.log(100.0), abs=1e-6)
    assert metrics.overshoot_percent == 0.0
    assert metrics.steady_error_pa == pytest.approx(0.0, abs=1e-8)


@pytest.mark.parametrize("tau_s", [0.2, 1.0, 3.0])
def test_step_metrics_first_order_integrals_are_tau_and_tau_squared(tau_s):
    # 40 tau: what lies beyond is 4e-17 of it. Trapezoid and Simpson on straight
    # pieces of exp(-t): relative error h**2 / (12 tau**2), some 2.1e-6 at most.
    time_s = np.linspace(0.0, 40.0 * tau_s, 8_001)
    metrics = measure(1.0 - np.exp(-time_s / tau_s), time_s)

    assert metrics.iae_pa_s == pytest.approx(SIZE_PA * tau_s, rel=2.2e-6)
    assert metrics.itae_pa_s2 == pytest.approx(SIZE_PA * tau_s**2, rel=2.2e-6)


def test_step_metrics_second_order_iae_counts_both_signs():
    # The integral of e itself is 2 zeta: the swings beyond the final level cancel
    # there and must not here. Source: integration by hand, zero to zero.
    zeta = 0.2
    damped = np.sqrt(1.0 - zeta**2)
    time_s = np.arange(100_001) * GRID_S

    def primitive(t):
        # d/dt of it is e(t) = exp(-zeta t)(cos(wt) + zeta/w sin(wt)).
        wave = 2.0 * zeta * np.cos(damped * t)
        wave = wave + (2.0 * zeta**2 - 1.0) / damped * np.sin(damped * t)
        return -np.exp(-zeta * t) * wave

    zeros_s = (np.pi - np.arccos(zeta) + np.pi * np.arange(30)) / damped
    edges = primitive(np.concatenate(([0.0], zeros_s)))
    expected = np.abs(np.diff(edges)).sum()

    metrics = measure(second_order(time_s, zeta), time_s)

    # Straight pieces: h**2 / 12 * integral(|e''|) < 1e-6 / 12 * 5.
    assert metrics.iae_pa_s == pytest.approx(SIZE_PA * expected, rel=5e-7)
    assert expected > 3.0 * 2.0 * zeta


# lags, rise 10-90 %, settling 2 %
LAGS = [(2, 3.357909, 5.833922), (3, 4.220255, 7.516604)]


@pytest.mark.parametrize(("count", "rise_s", "settling_2_s"), LAGS)
def test_step_metrics_match_equal_lags(count, rise_s, settling_2_s):
    time_s = np.arange(40_001) * GRID_S
    metrics = measure(lags(time_s, count), time_s)

    assert metrics.rise_time_s == pytest.approx(rise_s, abs=2e-6)
    assert metrics.settling_2_s == pytest.approx(settling_2_s, abs=2e-6)
    # The response of n lags is the regularised incomplete gamma function.
    assert metrics.t50_s == pytest.approx(gammaincinv(count, 0.5), abs=1e-6)
    assert metrics.settling_1_s == pytest.approx(gammaincinv(count, 0.99), abs=3e-6)


def test_step_metrics_band_in_pressure_is_the_percent_band():
    time_s = np.arange(40_001) * GRID_S
    pressure_pa = FROM_PA + SIZE_PA * second_order(time_s, 0.4)

    metrics = measure_step(
        time_s, pressure_pa, FROM_PA, TO_PA, 0.0, band_pa=0.02 * SIZE_PA
    )

    assert metrics.settling_band_s == pytest.approx(metrics.settling_2_s, rel=1e-12)
    assert metrics.band_pa == 0.02 * SIZE_PA
