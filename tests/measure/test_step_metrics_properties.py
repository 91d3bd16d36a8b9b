"""Laws that step metrics obey for every record: mirror, scale, shift, windows.

Records are damped waves with a creeping part, sampled unevenly. Tolerance: the
transformed record differs from the original by rounding only; a relative 1e-9
leaves 1e6 roundings of room.
"""

import dataclasses
import json

import numpy as np
import pytest
from hypothesis import assume, example, given
from hypothesis import strategies as st

from host_sim.measure.step_metrics import measure_step, measure_steps

CLOSE = 1e-9
TIMES = ("t50_s", "rise_time_s", "peak_time_s", "duration_s")
SETTLINGS = ("settling_5_s", "settling_2_s", "settling_1_s", "settling_band_s")
BAND = 0.03


@st.composite
def progresses(draw):
    """An uneven clock and a response on it, from calm to never settling."""
    decay = draw(st.floats(0.0, 1.5))
    rate = draw(st.floats(0.3, 4.0))
    creep = draw(st.floats(-0.3, 0.3))
    seed = draw(st.integers(0, 2**32 - 1))
    count = draw(st.integers(20, 400))
    gaps_s = np.random.default_rng(seed).uniform(0.5, 1.5, count)
    time_s = np.concatenate(([0.0], np.cumsum(gaps_s)))
    time_s *= draw(st.floats(1.0, 30.0)) / time_s[-1]
    wave = np.exp(-decay * time_s) * np.cos(rate * time_s)
    return time_s, 1.0 - wave + creep * (1.0 - np.exp(-0.4 * time_s))


def measured(time_s, progress, from_pa, to_pa, start_s=0.0):
    size_pa = to_pa - from_pa
    return measure_step(
        time_s + start_s,
        from_pa + size_pa * progress,
        from_pa,
        to_pa,
        start_s,
        band_pa=BAND * abs(size_pa),
    )


def assert_same(got, expected, names, scale=1.0):
    for name in names:
        left, right = getattr(got, name), getattr(expected, name)
        assert (left is None) == (right is None), name
        if right is not None:
            assert left == pytest.approx(
                scale * right, rel=CLOSE, abs=1e-9 * abs(scale)
            )


def peak_slack_s(time_s, progress, offset):
    """How far roundings of the samples can move the top of their parabola.

    A sample rounds by ``eps offset`` of the step; the top moves by that over the
    curvature, which a flat top lacks.
    """
    top = min(max(int(np.argmax(progress)), 1), len(progress) - 2)
    second = abs(progress[top - 1] - 2.0 * progress[top] + progress[top + 1])
    rounding = 4.0 * np.finfo(float).eps * offset
    return 1e-9 + (time_s[top + 1] - time_s[top - 1]) * rounding / max(second, 1e-300)


FLAT_TOP = np.arange(5.0), np.array([0.0, 1.0001, 1.000139, 1.000136, 1.0001])


@example(FLAT_TOP, 524_188.0, 100.0, 1)
@given(progresses(), st.floats(0.0, 1e6), st.floats(1e2, 1e6), st.sampled_from([1, -1]))
def test_step_metrics_follow_scale_offset_and_mirror(record, from_pa, size_pa, sign):
    to_pa = from_pa + sign * size_pa
    # The set points round; the step that they really make is the scale.
    scale = to_pa - from_pa
    unit = measured(*record, 0.0, 1.0)

    moved = measured(*record, from_pa, to_pa)

    times = [name for name in TIMES if name != "peak_time_s"]
    assert_same(moved, unit, (*times, *SETTLINGS, "overshoot_percent"))
    assert (moved.peak_time_s is None) == (unit.peak_time_s is None)
    if unit.peak_time_s is not None:
        slack_s = peak_slack_s(*record, (from_pa + size_pa) / size_pa)
        assert moved.peak_time_s == pytest.approx(unit.peak_time_s, abs=slack_s)
    assert_same(moved, unit, ("steady_error_pa",), scale)
    assert_same(moved, unit, ("iae_pa_s", "itae_pa_s2"), abs(scale))
    assert moved.peak_pressure_pa == pytest.approx(
        from_pa + scale * unit.peak_pressure_pa, rel=CLOSE
    )
    assert len(moved.notes) == len(unit.notes)


@given(progresses(), st.floats(1e-3, 1e3))
def test_step_metrics_follow_time_scale(record, factor):
    time_s, progress = record
    base = measured(time_s, progress, 1e5, 3e5)

    slow = measured(factor * time_s, progress, 1e5, 3e5)

    assert_same(slow, base, (*TIMES, *SETTLINGS, "iae_pa_s"), factor)
    assert_same(slow, base, ("itae_pa_s2",), factor**2)
    assert_same(slow, base, ("overshoot_percent", "steady_error_pa"))


@given(progresses(), st.integers(0, 1000))
def test_step_metrics_count_from_the_step(record, start_s):
    time_s, progress = record
    # Times that a shift does not round.
    time_s = np.round(time_s * 2**20) / 2**20
    base = measured(time_s, progress, 1e5, 3e5)

    shifted = measured(time_s, progress, 1e5, 3e5, float(start_s))

    assert dataclasses.replace(shifted, step_time_s=0.0) == base


@given(progresses(), st.floats(0.05, 0.95))
def test_step_metrics_do_not_see_the_past_of_the_step(record, share):
    time_s, progress = record
    step_time_s = share * float(time_s[-1])
    past = time_s < step_time_s
    start = np.interp(step_time_s, time_s, progress)
    future_s = np.concatenate(([step_time_s], time_s[~past]))
    future = np.concatenate(([start], progress[~past]))
    assume(future_s.size >= 3 and future_s[1] - step_time_s > 1e-6)

    whole = measure_step(time_s, progress, 0.0, 1.0, step_time_s)

    assert whole == measure_step(future_s, future, 0.0, 1.0, step_time_s)


@given(progresses(), st.lists(st.floats(0.1, 0.9), min_size=1, max_size=3, unique=True))
def test_step_metrics_of_windows_add_up(record, shares):
    time_s, progress = record
    length_s = float(time_s[-1])
    starts_s = [0.0, *(length_s * share for share in sorted(shares))]
    inside = np.searchsorted(time_s, [*starts_s, length_s])
    assume((np.diff(inside) >= 2).all())
    whole = measure_step(time_s, progress, 0.0, 1.0, 0.0)

    parts = measure_steps(time_s, progress, [(s, 0.0, 1.0) for s in starts_s])

    assert [part.step_time_s for part in parts] == starts_s
    assert sum(part.duration_s for part in parts) == pytest.approx(length_s)
    assert sum(part.iae_pa_s for part in parts) == pytest.approx(whole.iae_pa_s)


def test_step_metrics_of_a_staircase_are_those_of_each_step():
    # Up, down from non-zero, up again: the first response's own images.
    dt_s, ticks = 0.01, 1_500
    tick = np.arange(ticks + 1)
    rise = 1.0 - np.exp(-0.4 * tick * dt_s) * np.cos(tick * dt_s)
    rise[-1] = 1.0
    pressures_pa = [1e5 + 2e5 * rise, 3e5 - 1e5 * rise[1:], 2e5 + 3e5 * rise[1:]]
    time_s = np.arange(3 * ticks + 1) * dt_s
    steps = [
        (0.0, 1e5, 3e5),
        (ticks * dt_s, 3e5, 2e5),
        (2 * ticks * dt_s, 2e5, 5e5),
    ]

    first, second, third = measure_steps(time_s, np.concatenate(pressures_pa), steps)

    for other in (second, third):
        assert_same(other, first, (*TIMES[:3], *SETTLINGS[:3], "overshoot_percent"))
    assert second.peak_pressure_pa == pytest.approx(2e5 - 1e3 * first.overshoot_percent)
    assert second.iae_pa_s == pytest.approx(0.5 * first.iae_pa_s)
    assert third.itae_pa_s2 == pytest.approx(1.5 * first.itae_pa_s2)


@given(progresses())
def test_step_metrics_survive_json(record):
    metrics = measured(*record, 1e5, 2e5)

    text = json.dumps(dataclasses.asdict(metrics), allow_nan=False)

    assert json.loads(text)["iae_pa_s"] == metrics.iae_pa_s
