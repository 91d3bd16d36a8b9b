"""The loop in time: against python-control, against the float law, at rest.

1. ``control.forced_response`` of the closed sampled loop: 1e-9.
2. `FloatController`, the reference law, tick by tick on the same held plant: 1e-9.
3. `loop_gain`: a sine on the set point comes out as L/(1 + L) says.
"""

import control
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from linear_plants import INTEGRATOR, SECOND_ORDER, unit_law

from host_sim.errors import InputError
from host_sim.law.reference import COUNTS, FloatController
from host_sim.law.settings import Command, Gains, LawSettings, Measurement, Pid
from host_sim.measure.frequency import hold, loop_gain
from host_sim.measure.linear_loop import linear_loop
from host_sim.plant.settings import Channel

H = 0.1
UNIT = Channel(0.0, 1.0, bits=None)
PID = Gains(1.2, 0.9, 0.1)


def delayed(delay_s):
    return Channel(0.0, 1.0, bits=None, delay_s=delay_s)


@pytest.mark.parametrize("late", [0, 1, 3])
def test_linear_loop_matches_python_control(late):
    plant = control.c2d(control.tf([15.0], [1.0, 6.0, 5.0]), H, "zoh")
    integral = control.tf([PID.ki_per_s * H], [1.0, -1.0], H)
    derivative = control.tf([PID.kd_s, -PID.kd_s], [0.05 + H, -0.05], H)
    pid = PID.kp + integral + derivative
    delay = control.tf([1.0], [1.0] + [0.0] * late, H)
    # The derivative does not see the set point.
    entering = (PID.kp + integral) * delay
    closed = plant / (1 + pid * delay * plant)
    clock = H * np.arange(120)
    random = np.random.default_rng(3)
    setpoint, load = random.normal(size=(2, 120))
    expected = (
        control.forced_response(
            control.minreal(entering * closed, verbose=False), clock, setpoint
        ).outputs
        + control.forced_response(
            control.minreal(closed, verbose=False), clock, load
        ).outputs
    )

    law = unit_law(PID, H, derivative_filter_s=0.05)
    pressure, _ = linear_loop(SECOND_ORDER, UNIT, law, late).run(setpoint, load)

    assert pressure == pytest.approx(expected, abs=1e-6)


def law_with_ranges(gains, filter_s, weight):
    return LawSettings(
        H,
        command=Command(channel_ma=(4.0, 20.0), low_fault_ma=0.0, high_fault_ma=25.0),
        measurement=Measurement(channel=(0.0, 1.0), filter_s=filter_s),
        pid=Pid(gains, weight=weight, derivative_filter_s=0.05),
    )


@given(st.floats(0.0, 0.3), st.integers(0, 1), st.floats(0.0, 0.2), st.floats(0.0, 1.0))
def test_linear_loop_is_the_float_law_on_the_held_plant(
    delay_s, late, filter_s, weight
):
    law = law_with_ranges(Gains(0.4, 0.3, 0.05), filter_s, weight)
    held = hold(SECOND_ORDER, H, delay_s)
    controller = FloatController(law)
    rest, ticks = 0.5, 60
    setpoint = np.where(np.arange(ticks) >= 1, 0.02, 0.0)
    state, drives = np.zeros(2), [0.0] * late
    sensed, pressures, outputs = [0.0] * held.whole_ticks, [], []
    # At rest the law must hold the drive that keeps the plant there: none.
    for k in range(ticks):
        now = sensed[0] if held.whole_ticks else float(held.shown @ state)
        current = (rest + setpoint[k]) * COUNTS
        controller.tick(current, (rest + now) * COUNTS, COUNTS / 2.0)
        if k == 0:
            start = controller.output
        output = controller.output - start
        pressures.append(now)
        outputs.append(output)
        drives.append(output)
        drive = drives.pop(0)
        sensed.append(float(held.shown @ state) + held.direct * drive)
        sensed.pop(0)
        state = held.phi @ state + held.gamma * drive
    pressure, output = linear_loop(SECOND_ORDER, delayed(delay_s), law, late).run(
        setpoint, np.zeros(ticks)
    )
    assert pressure == pytest.approx(np.array(pressures), abs=1e-9)
    assert output == pytest.approx(np.array(outputs), abs=1e-9)


@pytest.mark.parametrize("delay_s", [0.0, 0.13])
def test_linear_loop_answers_a_sine_as_the_loop_gain_says(delay_s):
    law = unit_law(Gains(0.6, 0.4), H)
    frequency = 2.0 * np.pi / (40 * H)
    turn = np.exp(1j * frequency * H * np.arange(4_000))
    loop = linear_loop(SECOND_ORDER, delayed(delay_s), law, 1)
    assert loop.radius < 0.99
    pressure, _ = loop.run(turn.real, np.zeros(4_000))
    found = 2.0 * (pressure[-400:] * turn[-400:].conj()).mean()
    gain = loop_gain(SECOND_ORDER, delayed(delay_s), law, 1)(np.array([frequency]))[0]
    assert found == pytest.approx(gain / (1.0 + gain), rel=1e-6)


def test_linear_loop_refuses_a_delay_of_very_many_ticks():
    with pytest.raises(InputError, match=r"1001 ticks.*longer tick"):
        linear_loop(INTEGRATOR, delayed(100.1), unit_law(Gains(0.1), H))
