"""Channels: scale, converter, lag, delay, drift and noise."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from host_sim.plant.channel import (
    FULL_COUNTS,
    ChannelState,
    Converter,
    delay_line,
    delayed,
    push,
    quantise,
    to_counts,
)
from host_sim.plant.settings import Channel

IDEAL = Channel(0.0, 25.0, bits=None)


def read_all(channel, inputs, tick_s=0.01, seed=0):
    state = ChannelState(channel, tick_s, seed)
    return [state.counts(true_value) for true_value in inputs]


@given(st.floats(-50.0, 50.0), st.integers(1, 24))
def test_converter_gives_whole_counts_in_range(true_value, bits):
    (counts,) = read_all(Channel(0.0, 25.0, bits), [true_value])
    assert counts == int(counts)
    assert 0 <= counts <= FULL_COUNTS


@given(st.floats(0.0, FULL_COUNTS), st.integers(1, 15))
def test_quantise_stays_within_half_a_level(counts, bits):
    level = FULL_COUNTS / (2**bits - 1)
    assert abs(quantise(counts, bits) - counts) <= 0.5 * level + 0.5


@pytest.mark.parametrize("bits", [1, 8, 10, 12, 15])
def test_quantise_has_as_many_levels_as_the_converter(bits):
    found = {quantise(float(counts), bits) for counts in range(FULL_COUNTS + 1)}
    assert len(found) == 2**bits
    assert {0.0, float(FULL_COUNTS)} <= found


def test_quantisation_noise_has_the_textbook_variance():
    """Rounding: mean 0, variance q**2 / 12 (closed form)."""
    step = FULL_COUNTS / (2**10 - 1)
    counts = np.random.default_rng(5).uniform(1000.0, 30_000.0, 50_000)
    errors = np.array([quantise(c, 10) - c for c in counts]) / step
    assert abs(errors.mean()) < 0.01
    assert errors.var() == pytest.approx(1 / 12, rel=0.02)


def test_scale_is_linear_and_saturates():
    found = [to_counts(ma, 0.0, 25.0) for ma in (-1.0, 0.0, 4.0, 25.0, 30.0)]
    assert found == pytest.approx([0, 0, 0.16 * FULL_COUNTS, FULL_COUNTS, FULL_COUNTS])


def test_scale_may_start_anywhere():
    assert to_counts(3e5, 1e5, 5e5) == pytest.approx(FULL_COUNTS / 2)


@given(st.floats(0.0, 7.9))
def test_delay_line_shows_a_ramp_late_by_the_delay(delay_steps):
    line, head = delay_line(0.0, delay_steps), 0
    for sample in range(1, 31):
        head = push(line, head, float(sample))
    assert delayed(line, head, delay_steps) == pytest.approx(30.0 - delay_steps)


def test_channel_delay_shows_a_step_after_its_ticks():
    channel = Channel(0.0, 25.0, bits=None, delay_s=0.03)
    counts = read_all(channel, [0.0] * 2 + [25.0] * 6)
    assert counts == pytest.approx([0.0] * 5 + [FULL_COUNTS] * 3, abs=1e-6)


def test_channel_lag_is_exact_for_a_held_input():
    channel = Channel(0.0, 25.0, bits=None, lag_s=0.04)
    counts = read_all(channel, [0.0] + [25.0] * 20)
    expected = [FULL_COUNTS * (1 - math.exp(-k * 0.01 / 0.04)) for k in range(20)]
    assert counts[1:] == pytest.approx(expected, rel=1e-12, abs=1e-9)


def test_channel_starts_settled_on_its_first_value():
    channel = Channel(0.0, 25.0, bits=None, lag_s=0.04, delay_s=0.025)
    assert read_all(channel, [12.0] * 5) == pytest.approx([0.48 * FULL_COUNTS] * 5)


def test_ideal_channel_passes_a_step_at_once():
    assert read_all(IDEAL, [0.0, 25.0, 0.0]) == [0.0, FULL_COUNTS, 0.0]


def test_drift_grows_with_time():
    channel = Channel(0.0, 25.0, bits=None, drift_per_s=0.5)
    counts = read_all(channel, [10.0] * 201)
    assert counts[0] == pytest.approx(0.4 * FULL_COUNTS)
    assert counts[200] == pytest.approx((10.0 + 0.5 * 2.0) / 25.0 * FULL_COUNTS)


def test_noise_is_normal_with_its_deviation():
    channel = Channel(0.0, 25.0, bits=None, noise=0.1)
    ma = np.array(read_all(channel, [12.5] * 20_000, seed=3)) * 25.0 / FULL_COUNTS
    assert ma.mean() == pytest.approx(12.5, abs=0.003)
    assert ma.std() == pytest.approx(0.1, rel=0.02)
    assert np.mean(abs(ma - 12.5) < 0.1) == pytest.approx(0.6827, abs=0.01)


def test_noise_repeats_with_its_seed_only():
    channel = Channel(0.0, 25.0, bits=None, noise=0.1)
    one, same, other = (read_all(channel, [12.5] * 50, seed=s) for s in (1, 1, 2))
    assert one == same
    assert all(a != b for a, b in zip(one, other, strict=True))


def test_noise_may_be_drawn_for_a_whole_run_at_once():
    """Whoever runs many ticks at once relies on it."""
    channel = Channel(-1.0, 1.0, bits=None, noise=0.1)
    converter = Converter(channel, 0.01, (7, 0))
    found = [converter.counts(0.0) for _ in range(100)]
    drawn = np.random.default_rng((7, 0)).standard_normal(100)
    expected = [to_counts(0.1 * float(z), -1.0, 1.0) for z in drawn]
    assert found == expected
