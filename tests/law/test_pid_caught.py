"""What the deadband and the reset leave alone, in states that tests seldom reach."""

import pytest
from bench_law import exact_pilot, tick

from host_sim.law.settings import Gains, Output

SETPOINT = 12_000


@pytest.mark.parametrize("side", [-1, 1])
def test_inside_deadband_a_limited_output_leaves_the_integral(side):
    """Back-calculation rests too: an output held at its limit moves nothing."""
    pilot = exact_pilot(
        Gains(2.0, 5.0),
        tracking_s=0.1,
        deadband=0.01,
        output=Output(low=-0.01, high=0.01),
    )
    for _ in range(40):
        tick(pilot, SETPOINT, SETPOINT - side * 4_000)
    tick(pilot, SETPOINT, SETPOINT)
    assert pilot.inside
    assert pilot.word("OUTPUT") != pilot.word("WANTED")
    integral = pilot.word("INTEGRAL")
    for _ in range(50):
        tick(pilot, SETPOINT, SETPOINT)
        assert pilot.word("INTEGRAL") == integral


@pytest.mark.parametrize("side", [-1, 1])
def test_leaving_the_deadband_takes_off_the_deadband_at_once(side):
    pilot = exact_pilot(Gains(1.0), deadband=0.01, deadband_hysteresis=0.004)
    for _ in range(3):
        tick(pilot, SETPOINT, SETPOINT)
    for _ in range(3):
        tick(pilot, SETPOINT, SETPOINT - side * 400)
        assert pilot.word("ERROR") == side * (400 - 250)


def test_reset_forgets_a_derivative_that_is_under_way():
    pilot = exact_pilot(Gains(1.0, 0.0, 0.5), derivative_filter_s=0.2)
    for k in range(20):
        tick(pilot, SETPOINT, 3_000 + 100 * k)
    assert pilot.word("DERIVATIVE") < 0
    pilot.reset()
    tick(pilot, SETPOINT, 5_000)
    assert pilot.word("WASHOUT") == 0
    assert pilot.word("DERIVATIVE") == 0
