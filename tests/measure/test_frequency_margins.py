"""Margins against recomputed tables and a general-purpose library.

1. Gain margin, phase margin and Ms of ten loops (REFERENCES.md, section 11:
   computed there with python-control 0.10.2 or in closed form), typed in as
   printed; tolerance one unit of the last digit printed.
2. Ultimate gain and frequency of dead-time plants (section 10.1, closed form).
3. ``control.stability_margins`` of python-control on the same loops, continuous
   and sampled: 1e-6.
"""

import math

import control
import numpy as np
import pytest

from host_sim.errors import InputError
from host_sim.measure.margins import measure_margins

INF = math.inf
PU = 2.0 * math.pi / math.sqrt(3.0)
S = control.tf([1, 0], [1])
THIRD = control.tf([1], [1, 3, 3, 1])


def pid(kc, ti_s, td_s=0.0):
    return control.tf([kc * ti_s * td_s, kc * ti_s, kc], [ti_s, 0])


ROWS = {  # loop: (GM, at, PM, at, Ms, Mt), None where the table has no figure
    "1/(s(s+1))": (1 / (S * (S + 1)), INF, None, 51.827292, 0.786151, 1.467890, None),
    "1/(s(s+1)^2)": (
        1 / (S * (S + 1) ** 2),
        *(2.0, 1.0, 21.386390, 0.682328, 3.367130, 2.879797),
    ),
    "4/(s+1)^3": (4 * THIRD, 2.0, 1.732051, 27.141631, 1.232819, 3.0, 2.414214),
    "2/(s+1)^3": (2 * THIRD, 4.0, 1.732051, 67.598066, 0.766421, 1.666667, None),
    "10/(s(s+1)(s+5))": (
        10 / (S * (S + 1) * (S + 5)),
        *(3.0, 2.236068, 25.389823, 1.227064, 2.715576, 2.323790),
    ),
    "SIMC PI": (
        pid(0.5, 1.5) * THIRD,
        *(6.744563, 1.207239, 62.450944, 0.319489, 1.431840, None),
    ),
    "ZN PI": (
        pid(3.6, PU / 1.2) * THIRD,
        *(1.5228, 1.4699, 14.784, 1.1867, 4.9254, None),
    ),
    "ZN PID": (
        pid(4.8, PU / 2, PU / 8) * THIRD,
        *(INF, None, 30.619, 1.3755, 2.1318, None),
    ),
    "AMIGO PI": (
        pid(0.649108, 2.120381) * THIRD,
        *(6.969, None, 70.953, None, 1.3755, None),
    ),
    "AMIGO PID": (
        pid(1.570316, 1.751159, 0.366618) * THIRD,
        *(INF, None, 46.068, None, 1.6387, None),
    ),
}


def digits(printed):
    """One unit of the last digit of a figure of up to six decimals."""
    for places in range(7):
        if round(printed, places) == printed:
            return 10.0**-places if places > 2 else 1e-6
    return 1e-6


@pytest.mark.parametrize("name", ROWS)
def test_margins_match_the_table(name):
    system, *printed = ROWS[name]
    found = measure_margins(lambda w: system(1j * w), 1e-4, 1e4)
    values = (
        found.gain_margin,
        found.phase_crossover_rad_s,
        found.phase_margin_deg,
        found.gain_crossover_rad_s,
        found.ms,
        found.mt,
    )
    for value, expected in zip(values, printed, strict=True):
        if expected is not None and math.isinf(expected):
            assert value == expected
        elif expected is not None:
            assert value == pytest.approx(expected, abs=digits(expected))


@pytest.mark.parametrize("name", ROWS)
def test_margins_match_python_control(name):
    system = ROWS[name][0]
    gm, pm, sm, wpc, wgc, _ = control.stability_margins(system)
    found = measure_margins(lambda w: system(1j * w), 1e-4, 1e4)
    assert found.gain_margin == pytest.approx(gm, rel=1e-6)
    assert found.phase_margin_deg == pytest.approx(pm, rel=1e-6)
    assert found.gain_crossover_rad_s == pytest.approx(wgc, rel=1e-6)
    assert found.ms == pytest.approx(1.0 / sm, rel=1e-6)
    if math.isfinite(gm):
        assert found.phase_crossover_rad_s == pytest.approx(wpc, rel=1e-6)


@pytest.mark.parametrize(
    ("gain", "t_s", "delay_s", "frequency", "ultimate"),
    [
        (1.0, 1.0, 0.1, 16.319945, 16.350554),
        (1.0, 1.0, 0.5, 3.673194, 3.806883),
        (1.0, 1.0, 1.0, 2.028758, 2.261826),
        (1.0, 10.0, 2.0, 0.844341, 8.502425),
    ],
)
def test_margins_find_the_ultimate_point_with_dead_time(
    gain, t_s, delay_s, frequency, ultimate
):
    found = measure_margins(
        lambda w: gain * np.exp(-1j * w * delay_s) / (1.0 + 1j * w * t_s), 1e-4, 1e3
    )
    assert found.gain_margin == pytest.approx(ultimate, abs=1e-6)
    assert found.phase_crossover_rad_s == pytest.approx(frequency, abs=1e-6)


def test_margins_of_an_integrator_are_those_of_a_first_order_loop():
    found = measure_margins(lambda w: 3.0 / (1j * w), 1e-4, 1e4)
    assert found.bandwidth_rad_s == pytest.approx(3.0, rel=1e-9)
    assert found.phase_margin_deg == pytest.approx(90.0)
    assert found.gain_margin == INF
    assert found.mt == pytest.approx(1.0, abs=1e-6)


def test_margins_give_a_weak_loop_no_bandwidth():
    found = measure_margins(lambda w: 0.5 / (1j * w + 1.0), 1e-4, 1e4)
    assert found.bandwidth_rad_s == 0.0
    assert found.phase_margin_deg == INF


def test_margins_of_an_unstable_loop_are_below_one_and_zero():
    found = measure_margins(lambda w: 16.0 / (1j * w + 1.0) ** 3, 1e-3, 1e3)
    assert found.gain_margin == pytest.approx(0.5)
    assert found.phase_margin_deg < 0.0


@pytest.mark.parametrize("ends", [(0.0, 1.0), (2.0, 1.0), (1.0, INF)])
def test_margins_refuse_an_empty_range(ends):
    with pytest.raises(InputError, match="frequency range"):
        measure_margins(lambda w: 1.0 / (1j * w), *ends)


def test_margins_refuse_a_gain_that_is_not_finite():
    with pytest.raises(InputError, match="not finite"):
        measure_margins(lambda w: np.full(w.shape, complex(math.nan)), 1.0, 2.0)
