"""The static evaluation against a worked table and a closed form.

1. A calibration table constructed for this purpose (4-20 mA, 3-15 psig, nine
   points, three cycles), with its results worked out by hand and by numpy outside
   the project; typed in with all digits. Tolerance: half of the last printed
   digit. The definitions are from memory, consistent with public summaries of
   IEC 61298-2, IEC 60770-1 and ISA-51.1 (second-hand); the standards were not
   opened.
2. Closed form: a parabolic bow ``y = u + 4 B z (1 - z)`` has the linearities B
   (terminal), B/2 (independent) and B (12 - 8 sqrt 2) (zero-based); on a grid of
   101 points to 1e-4 of span, on 11 points 0.342857 for B = 0.5 (outside
   computation, six digits).
"""

import numpy as np
import pytest

from host_sim.measure.static import evaluate_static
from host_sim.measure.static_table import StaticRange, StaticTable, Travel

UP = (
    "3.000 4.494 5.994 7.500 9.006 10.512 12.018 13.518 15.012",
    "3.000 4.500 5.994 7.500 9.012 10.512 12.018 13.524 15.012",
    "3.006 4.494 6.000 7.506 9.006 10.518 12.024 13.518 15.018",
)
DOWN = (
    "3.012 4.530 6.036 7.548 9.060 10.554 12.048 13.536 15.012",
    "3.012 4.530 6.042 7.548 9.060 10.560 12.048 13.536 15.012",
    "3.018 4.536 6.036 7.554 9.066 10.554 12.054 13.542 15.018",
)
PSI_PA = 6894.757293168361
SPAN = StaticRange((4.0, 20.0), (3.0 * PSI_PA, 15.0 * PSI_PA))
DIGITS = 5.1e-5
"""Half of the fourth decimal."""


def worked_table():
    inputs = np.arange(4.0, 21.0, 2.0)
    travels = [
        Travel(
            f"cycle {k + 1}",
            rising,
            inputs,
            PSI_PA * np.array([float(cell) for cell in row.split()]),
        )
        for rising, rows in ((True, UP), (False, DOWN))
        for k, row in enumerate(rows)
    ]
    return StaticTable(SPAN, tuple(travels))


@pytest.fixture(scope="module")
def found():
    return evaluate_static(worked_table(), dead_band_percent=0.10)


CURVES = {
    "average_up_percent": "0.0167 -0.0333 -0.0333 0.0167 0.0667 0.1167 0.1667 0.1667 "
    "0.1167",
    "average_down_percent": "0.1167 0.2667 0.3167 0.4167 0.5167 0.4667 0.4167 0.3167 "
    "0.1167",
    "average_percent": "0.0667 0.1167 0.1417 0.2167 0.2917 0.2917 0.2917 0.2417 0.1167",
}


@pytest.mark.parametrize("name", CURVES)
def test_static_averages_of_worked_table_to_the_printed_digits(found, name):
    printed = [float(cell) for cell in CURVES[name].split()]
    assert getattr(found, name) == pytest.approx(printed, abs=DIGITS)


def test_static_figures_of_worked_table_to_the_printed_digits(found):
    assert found.above.percent == pytest.approx(0.55, abs=DIGITS)
    assert found.below.percent == pytest.approx(-0.05, abs=DIGITS)
    assert found.inaccuracy_percent == pytest.approx(0.55, abs=DIGITS)
    assert found.hysteresis.percent == pytest.approx(0.45, abs=DIGITS)
    assert found.hysteresis.at_input_percent == 50.0
    assert found.hysteresis_cycle.percent == pytest.approx(0.50, abs=DIGITS)
    assert found.hysteresis_alone_percent == pytest.approx(0.35, abs=DIGITS)
    assert found.repeatability.percent == pytest.approx(0.05, abs=DIGITS)
    assert found.zero_error_percent == pytest.approx(0.0667, abs=DIGITS)
    assert found.span_error_percent == pytest.approx(0.0500, abs=DIGITS)
    assert found.notes == ()


def test_static_lines_of_worked_table_to_the_printed_digits(found):
    terminal, independent = found.lines["terminal"], found.lines["independent"]
    assert terminal.above_percent == pytest.approx(0.2000, abs=DIGITS)
    assert terminal.below_percent == 0.0
    assert independent.above_percent == pytest.approx(0.1000, abs=DIGITS)
    assert independent.below_percent == pytest.approx(-0.1000, abs=DIGITS)
    # Slopes are printed as the output's, 1 for the ideal.
    assert independent.intercept_percent == pytest.approx(0.166667, abs=5.1e-7)
    assert 1.0 + independent.tilt == pytest.approx(1.0005, abs=5.1e-7)
    assert found.lines["zero_based"].linearity_percent == pytest.approx(
        0.13333, abs=5.1e-6
    )
    assert 1.0 + found.lines["zero_based"].tilt == pytest.approx(1.00183333, abs=5.1e-9)
    assert found.lines["least_squares"].intercept_percent == pytest.approx(
        0.133889, abs=5.1e-7
    )
    assert 1.0 + found.lines["least_squares"].tilt == pytest.approx(
        1.00126667, abs=5.1e-9
    )
    assert found.lines["least_squares"].linearity_percent == pytest.approx(
        0.1439, abs=DIGITS
    )


def bow(points, height_percent):
    z = np.linspace(0.0, 1.0, points)
    reading = z + 4.0 * height_percent / 100.0 * z * (1.0 - z)
    travel = Travel("up", True, 4.0 + 16.0 * z, reading)
    return StaticTable(StaticRange((4.0, 20.0), (0.0, 1.0)), (travel,))


def test_static_lines_of_parabolic_bow_match_closed_forms():
    found = evaluate_static(bow(101, 0.5))
    assert found.lines["terminal"].linearity_percent == pytest.approx(0.5, abs=1e-9)
    assert found.lines["independent"].linearity_percent == pytest.approx(0.25, abs=1e-9)
    closed = 0.5 * (12.0 - 8.0 * np.sqrt(2.0))
    assert found.lines["zero_based"].linearity_percent == pytest.approx(
        closed, abs=1e-4
    )


def test_static_zero_based_line_of_bow_on_eleven_points():
    found = evaluate_static(bow(11, 0.5))
    assert found.lines["zero_based"].linearity_percent == pytest.approx(
        0.342857, abs=5.1e-7
    )
