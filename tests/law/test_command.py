"""Current to set point: ranges, fault bands, cut-off, ramp.

Ranges and bands: IEC 60381-1 live zero (second-hand) and NAMUR NE 43: measuring
range 3.8 ... 20.5 mA, failure at or below 3.6 and at or above 21.0 mA, 4 s of
persistence (second-hand, the last from a single source). 3 ... 15 psi and
20 ... 100 kPa at 4, 8, 12, 16, 20 mA: plain arithmetic.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from host_sim.law.block import COUNTS, FULL
from host_sim.law.controller import Controller
from host_sim.law.quantise import quantise
from host_sim.law.settings import Command, LawSettings, Output

TICK_S = 0.01


def pilot_of(**command):
    """Make a controller whose converter resolves one microampere a count."""
    command = Command(channel_ma=(0.0, 32.767), **command)
    return Controller(quantise(LawSettings(tick_s=TICK_S, command=command)))


def feed(pilot, current_ma, ticks=1):
    """Run ticks at a current and zero pressure; one count is one microampere."""
    for _ in range(ticks):
        pilot.tick(current_ma * 1e3, 0, COUNTS // 2)
    return pilot


@pytest.mark.parametrize(
    ("current_ma", "percent"),
    [(4, 0), (8, 25), (12, 50), (16, 75), (20, 100), (3.8, -1.25), (20.5, 103.125)],
)
def test_command_normal_range(current_ma, percent):
    pilot = feed(pilot_of(setpoint_low=-0.05, setpoint_high=1.1), current_ma, 3)
    assert 100 * pilot.setpoint == pytest.approx(percent, abs=0.01)


@pytest.mark.parametrize(("current_ma", "percent"), [(4, 100), (8, 75), (20, 0)])
def test_command_reverse_action(current_ma, percent):
    pilot = feed(pilot_of(reverse=True), current_ma, 3)
    assert 100 * pilot.setpoint == pytest.approx(percent, abs=0.01)


@pytest.mark.parametrize(
    ("start", "end", "current_ma", "percent"),
    [
        (4, 12, 8, 50),
        (4, 12, 12, 100),
        (4, 12, 16, 100),
        (12, 20, 8, 0),
        (12, 20, 16, 50),
    ],
)
def test_command_split_range(start, end, current_ma, percent):
    pilot = feed(pilot_of(start_ma=start, end_ma=end), current_ma, 3)
    assert 100 * pilot.setpoint == pytest.approx(percent, abs=0.02)


@pytest.mark.parametrize("current_ma", [0.0, 3.59, 3.6, 21.0, 21.01, 25.0])
def test_command_bad_current_is_a_fault_after_its_patience(current_ma):
    pilot = feed(pilot_of(patience_s=4.0), 12.0, 3)
    feed(pilot, current_ma, 399)
    assert pilot.faults == ()
    assert pilot.active == "automatic"
    feed(pilot, current_ma)
    assert pilot.faults == ("current",)
    assert pilot.active == "fault"
    assert pilot.output == -1.0


@pytest.mark.parametrize("current_ma", [3.61, 3.79, 3.8, 20.5, 20.51, 20.99])
def test_command_current_between_the_bands_is_no_fault(current_ma):
    pilot = feed(pilot_of(patience_s=0.05), current_ma, 100)
    assert pilot.faults == ()


@given(bad_ticks=st.integers(1, 39))
def test_command_glitch_keeps_the_last_good_set_point(bad_ticks):
    pilot = feed(pilot_of(patience_s=0.4), 12.0, 50)
    feed(pilot, 0.0, bad_ticks)
    assert pilot.setpoint == pytest.approx(0.5, abs=1e-4)
    feed(pilot, 12.0, 50)
    assert pilot.faults == ()


def test_command_fault_ends_after_as_many_good_ticks_without_a_bump():
    pilot = feed(pilot_of(patience_s=0.1), 12.0, 5)
    feed(pilot, 0.0, 10)
    assert pilot.active == "fault"
    feed(pilot, 12.0, 9)
    assert pilot.active == "fault"
    feed(pilot, 12.0)
    assert pilot.active == "automatic"
    assert pilot.output == -1.0


@pytest.mark.parametrize(
    ("action", "fixed", "expected"),
    [("vent", 0.0, -1.0), ("hold", 0.0, 0.5), ("fixed", 0.3, 0.3)],
)
def test_command_safe_output_is_taken_at_once(action, fixed, expected):
    settings = LawSettings(
        tick_s=TICK_S,
        command=Command(channel_ma=(0.0, 32.767), patience_s=0.05),
        output=Output(
            rise_per_s=1.0, fall_per_s=1.0, safe_action=action, safe_output=fixed
        ),
    )
    pilot = Controller(quantise(settings))
    feed(pilot, 12.0, 200)
    feed(pilot, 0.0, 5)
    assert pilot.active == "fault"
    assert pilot.output == pytest.approx(expected, abs=1e-4)


def test_command_cutoff_vents_fully_and_releases_above_its_hysteresis():
    pilot = pilot_of(cutoff=0.02, cutoff_hysteresis=0.01)
    feed(pilot, 4 + 16 * 0.025, 3)
    assert pilot.active == "automatic"
    feed(pilot, 4 + 16 * 0.019)
    assert (pilot.active, pilot.output) == ("shut", -1.0)
    feed(pilot, 4 + 16 * 0.025)
    assert pilot.active == "shut"
    feed(pilot, 4 + 16 * 0.031)
    assert pilot.active == "automatic"


@given(rate=st.floats(0.01, 50), ticks=st.integers(1, 150))
def test_command_ramp_moves_at_its_exact_rate(rate, ticks):
    pilot = feed(pilot_of(ramp_up_per_s=rate, ramp_down_per_s=2 * rate), 4.0, 2)
    feed(pilot, 20.0, ticks)
    top = min(1.0, rate * TICK_S * ticks)
    assert pilot.setpoint == pytest.approx(top, abs=2 / FULL)
    feed(pilot, 4.0, ticks // 3)
    expected = max(0.0, top - 2 * rate * TICK_S * (ticks // 3))
    assert pilot.setpoint == pytest.approx(expected, abs=3 / FULL)
