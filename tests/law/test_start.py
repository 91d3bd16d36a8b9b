"""The first ticks: what is not known yet must not move the output."""

from dataclasses import replace

from bench_law import TICK_S, exact_settings, tick
from hypothesis import given
from hypothesis import strategies as st

from host_sim.law.controller import Controller
from host_sim.law.quantise import quantise
from host_sim.law.settings import Gains

PATIENCE = 50
BAD = -1_250


def pilot_with_sensor_limits(gains=None):
    """Make a controller that notices a sensor at its lower end."""
    settings = exact_settings(gains or Gains(2.0, 1.0, 0.05))
    measurement = replace(
        settings.measurement, valid=(0.01, 0.99), patience_s=PATIENCE * TICK_S
    )
    return Controller(quantise(replace(settings, measurement=measurement)))


@given(setpoint=st.integers(1, 24_000))
def test_start_with_a_dead_sensor_never_fills(setpoint):
    pilot = pilot_with_sensor_limits()
    outputs = {tick(pilot, setpoint, BAD) for _ in range(PATIENCE - 1)}
    assert outputs == {0.0}
    tick(pilot, setpoint, BAD)
    assert (pilot.active, pilot.output) == ("fault", -1.0)


@given(bad=st.integers(1, PATIENCE - 1), pressure=st.integers(500, 24_000))
def test_start_takes_the_first_good_measurement(bad, pressure):
    pilot = pilot_with_sensor_limits()
    for _ in range(bad):
        tick(pilot, 12_000, BAD)
    for _ in range(bad):
        tick(pilot, 12_000, pressure)
        assert pilot.word("DERIVATIVE") == pilot.word("MOVEMENT") == 0
    assert pilot.word("PRESSURE") == pressure
    tick(pilot, 12_000, pressure)
    assert pilot.active == "automatic"


@given(bad=st.integers(1, PATIENCE - 1))
def test_suspected_sensor_does_not_integrate_a_stale_error(bad):
    pilot = pilot_with_sensor_limits()
    for _ in range(20):
        tick(pilot, 12_000, 11_500)
    integral = pilot.word("INTEGRAL")
    for _ in range(bad):
        tick(pilot, 12_000, BAD)
    assert pilot.word("INTEGRAL") == integral
    assert pilot.faults == ()


def test_start_without_a_good_supply_assumes_the_reference():
    settings = exact_settings(Gains(1.0))
    supply = replace(settings.supply, strength=1.0, valid=(0.05, 0.95))
    pilot = Controller(quantise(replace(settings, supply=supply)))
    for _ in range(3):
        tick(pilot, 12_000, 11_000, 0)
    assert pilot.compensation == 1.0
