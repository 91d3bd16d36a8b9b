"""Valve travel, reversals and air: known sequences, and an independent count."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from host_sim.errors import InputError
from host_sim.measure.effort import REVERSAL_THRESHOLD, air_used, measure_output
from host_sim.plant.settings import Air


@pytest.mark.parametrize(
    ("output", "travel", "reversals"),
    [
        ([0.3], 0.0, 0),
        ([0.3, 0.3, 0.3], 0.0, 0),
        ([0.0, 0.25, 0.5, 1.0], 1.0, 0),
        ([0.0, 1.0, 0.0], 2.0, 1),
        ([0.0, -1.0, 1.0, 0.5], 3.5, 2),
        ([0.0, 0.5, 0.5, 0.5, 0.25], 0.75, 1),
        # Back by exactly the threshold, then by more.
        ([0.0, 0.5, 0.5 - 2**-7, 0.5], 0.5 + 2**-6, 0),
        ([0.0, 0.5, 0.5 - 2**-6, 0.5], 0.5 + 2**-5, 2),
        # A slow return in steps that are each below the threshold.
        ([0.0, 0.5, 0.496, 0.492, 0.488, 0.484], 0.516, 1),
    ],
)
def test_effort_of_known_sequences(output, travel, reversals):
    metrics = measure_output(np.array(output), threshold=2**-7)

    assert metrics.travel_strokes == pytest.approx(travel)
    assert metrics.reversals == reversals


def test_effort_counts_two_reversals_for_each_period_of_a_sine():
    phase = np.linspace(0.0, 2.0 * np.pi * 10.0, 10_001)
    metrics = measure_output(0.4 * np.sin(phase))

    assert metrics.reversals == 20
    # Four amplitudes a period; extremes fall on samples of this grid.
    assert metrics.travel_strokes == pytest.approx(10 * 4 * 0.4, rel=1e-9)


def test_effort_last_bit_dither_is_travel_but_no_reversal():
    # One step of a 12-bit converter, up and down, on a slow ramp.
    ticks = np.arange(10_001)
    output = np.linspace(0.0, 0.5, ticks.size) + (ticks % 2) / 4096.0

    metrics = measure_output(output)

    assert metrics.reversals == 0
    assert metrics.travel_strokes > 2.0
    assert measure_output(output, threshold=0.0).reversals == 9_999
    assert metrics.threshold_strokes == REVERSAL_THRESHOLD


def longest_zigzag(output, threshold):
    """Turns of the longest zigzag whose every swing exceeds the threshold."""
    up, down = [1] * len(output), [1] * len(output)
    for i, end in enumerate(output):
        for j in range(i):
            if end - output[j] > threshold:
                up[i] = max(up[i], down[j] + 1)
            if output[j] - end > threshold:
                down[i] = max(down[i], up[j] + 1)
    return max(0, max(up + down) - 2)


outputs = st.lists(st.integers(-8, 8), min_size=1, max_size=40)


@given(outputs, st.integers(0, 6))
def test_effort_reversals_are_the_turns_of_the_longest_zigzag(output, threshold):
    strokes = np.array(output) / 8.0
    got = measure_output(strokes, threshold=threshold / 8.0)
    assert got.reversals == longest_zigzag(output, threshold)


@given(outputs, st.integers(0, 6))
def test_effort_is_blind_to_sign_direction_of_time_and_waiting(output, threshold):
    strokes = np.array(output) / 8.0
    metrics = measure_output(strokes, threshold=threshold / 8.0)

    for image in (-strokes, strokes[::-1], np.repeat(strokes, 3), strokes + 1.0):
        assert measure_output(image, threshold=threshold / 8.0) == metrics


def test_effort_air_is_growth_over_reference_density():
    mass_kg = np.array([0.25, 0.3, 0.5])

    used = air_used(mass_kg, Air())

    assert used.mass_kg == 0.25
    # 1.185 kg/m3: ISO 8778 / ISO 6358-1, second-hand.
    assert used.volume_l_anr == pytest.approx(1000.0 * 0.25 / 1.185)
    assert air_used(mass_kg, Air(reference_density_kg_m3=1.25)).volume_l_anr == 200.0


def test_effort_filling_a_bag_draws_the_published_litres():
    # 20 L from empty to 9.013 bar absolute at 20 deg C hold 180.3 L ANR at
    # 1 bar, 20 deg C: a worked number seen second-hand, and p V / p0 by hand. On
    # 1.185 kg/m3 it is 0.28 % more, since that density is a convention.
    air = Air()
    mass_kg = 9.013e5 * 0.020 / (air.gas_constant_j_kg_k * 293.15)

    used = air_used(np.array([0.0, mass_kg]), air)

    assert used.volume_l_anr == pytest.approx(180.3 * 1e5 / 99_716.0, rel=3e-4)


@pytest.mark.parametrize(
    "samples", [np.array([]), np.zeros((2, 2)), np.array([np.nan])]
)
def test_effort_refuses_what_is_no_row_of_numbers(samples):
    with pytest.raises(InputError, match=r"output: .* finite"):
        measure_output(samples)
    with pytest.raises(InputError, match=r"mass_kg: .* finite"):
        air_used(samples, Air())


@pytest.mark.parametrize("threshold", [-0.1, np.nan, np.inf])
def test_effort_refuses_a_threshold_that_is_no_swing(threshold):
    with pytest.raises(InputError, match="threshold"):
        measure_output(np.zeros(3), threshold=threshold)
