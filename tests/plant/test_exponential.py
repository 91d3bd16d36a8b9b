"""Coefficients of the step against scipy's matrix exponential.

The matrix with z in one corner and ones beside the diagonal has e^z, phi1, phi2,
phi3 in the first row of its exponential (closed form). Tolerance 1e-13: rounding.
"""

import math

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from scipy.linalg import expm

from host_sim.plant.exponential import phi_functions, step_coefficients

steps = st.floats(-50.0, 0.0)
EXACT = {"rel": 1e-13, "abs": 1e-15}


@given(steps)
@example(-1.0)
@example(math.nextafter(-1.0, 0.0))
@example(-1e-9)
@example(0.0)
def test_phi_functions_are_the_row_of_a_matrix_exponential(z):
    matrix = np.diag([z, 0.0, 0.0, 0.0]) + np.diag(np.ones(3), 1)
    matrix[0, 0] = z
    row = expm(matrix)[0]
    assert phi_functions(z) == pytest.approx(tuple(row[1:]), **EXACT)


@given(st.floats(0.0, 1e9), st.floats(1e-6, 10.0))
def test_weights_add_up_to_the_exact_gain(rate_per_s, step_s):
    """A constant rate passes as (1 - e^(-rate h)) / rate, however stiff the lag."""
    _, kept, _, first, middle, last = step_coefficients([rate_per_s], step_s)
    z = -rate_per_s * step_s
    exact_s = -math.expm1(z) / rate_per_s if rate_per_s * step_s > 1e-9 else step_s
    assert kept == pytest.approx(math.exp(z))
    assert first + 2.0 * middle + last == pytest.approx(exact_s, rel=1e-9)


def test_without_lag_the_coefficients_are_classic_runge_kutta():
    found = step_coefficients([0.0, 0.0], 0.3)
    classic = [1.0, 1.0, 0.3 / 2, 0.3 / 6, 0.3 / 3, 0.3 / 6]
    assert found == pytest.approx([c for c in classic for _ in range(2)], rel=1e-15)
