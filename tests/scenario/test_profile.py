"""The command at each tick."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from host_sim.scenario.profile import Profile, currents_ma


@pytest.mark.parametrize("tick_s", [0.1, 0.01, 0.005, 0.002, 0.001, 0.0001])
@pytest.mark.parametrize("step_s", [0.3, 0.6, 0.7, 1.1, 1.2])
def test_profile_step_on_a_tick_counts_from_that_tick(tick_s, step_s):
    tick = round(step_s / tick_s)
    currents = currents_ma(Profile((0.0, step_s), (4.0, 12.0)), tick_s, tick + 3)
    assert currents == [4.0] * tick + [12.0] * 3


def test_profile_step_between_ticks_waits_for_the_next():
    profile = Profile((0.0, 0.11), (4.0, 12.0))
    assert currents_ma(profile, 0.1, 4) == [4.0, 4.0, 12.0, 12.0]


def test_profile_of_two_points_between_ticks_the_later_counts():
    profile = Profile((0.0, 0.11, 0.15), (4.0, 8.0, 12.0))
    assert currents_ma(profile, 0.1, 4) == [4.0, 4.0, 12.0, 12.0]


def test_profile_points_beyond_the_end_do_not_count():
    profile = Profile((0.0, 0.2, 9.0, 9.5), (4.0, 8.0, 12.0, 16.0))
    assert currents_ma(profile, 0.1, 3) == [4.0, 4.0, 8.0]


@given(
    st.lists(st.integers(1, 400), max_size=20),
    st.integers(1, 120),
)
def test_profile_each_tick_holds_the_last_point_before_it(gaps_ms, ticks):
    times_ms = [0]
    for gap_ms in gaps_ms:
        times_ms.append(times_ms[-1] + gap_ms)
    profile = Profile(
        tuple(time_ms / 1e3 for time_ms in times_ms),
        tuple(float(number) for number in range(len(times_ms))),
    )
    currents = currents_ma(profile, 0.02, ticks)
    expected = [
        float(max(n for n, time_ms in enumerate(times_ms) if time_ms <= 20 * tick))
        for tick in range(ticks)
    ]
    assert currents == expected
