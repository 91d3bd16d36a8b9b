"""Frequency response of the sampled loop, against independent computations.

1. A held input sampled: the sum over all aliases of the continuous response
   times the hold, a formula that has no matrix exponential in it.
2. python-control: ``c2d`` with a zero-order hold, the law as a rational function
   of z, ``stability_margins``: 1e-6.
3. The nonlinear plant moved by a small sine: 0.2 dB and 1.5 degrees. What is
   left is the plant's delay line, which interpolates linearly between substeps.
4. The law, moved by a sine in float64: 1e-6.
"""

import cmath
import math

import control
import numpy as np
import pytest
from at_rest import plant_at
from bench_plant import SENSING, chain_plant, direct_plant, law_settings
from linear_plants import INTEGRATOR, SECOND_ORDER, unit_law

from host_sim.law.reference import FloatController
from host_sim.law.settings import Gains, LawSettings, Measurement, Pid
from host_sim.measure.frequency import (
    held_response,
    law_response,
    loop_gain,
    loop_margins,
)
from host_sim.plant.linear import linearise
from host_sim.plant.operating_point import operating_point
from host_sim.plant.settings import Channel, PlantSettings, Sensing

TICK_S = 0.01
UNIT = Channel(0.0, 1.0, bits=None)


@pytest.mark.parametrize("delay_ticks", [0.0, 0.25, 1.0, 1.6, 3.0])
def test_held_response_is_the_sum_of_all_aliases(delay_ticks):
    h, delay_s = 0.1, 0.1 * delay_ticks
    frequency = np.array([0.05, 1.0, 7.0, 25.0])
    aliases = np.arange(-20_000, 20_001)[:, None] * (2.0 * math.pi / h)
    s = 1j * (frequency + aliases)
    hold = (1.0 - np.exp(-s * h)) / (s * h)
    expected = (15.0 / ((s + 1.0) * (s + 5.0)) * hold * np.exp(-s * delay_s)).sum(0)

    found = held_response(SECOND_ORDER, h, delay_s)(frequency)

    assert found == pytest.approx(expected, rel=1e-7)


def test_law_response_is_what_the_float_law_does():
    frequency, ticks = 2.0 * math.pi / (40 * TICK_S), 4_000
    law = law_settings(Gains(0.8, 0.5, 0.05), derivative_filter_s=0.03)
    law = LawSettings(
        TICK_S,
        measurement=Measurement(law.measurement.channel, filter_s=0.05),
        pid=law.pid,
    )
    controller = FloatController(law)
    low, high = law.measurement.channel
    turn = np.exp(-1j * frequency * TICK_S * np.arange(ticks))
    outputs = []
    for k in range(ticks):
        reading = 0.5 + 0.01 * math.sin(frequency * TICK_S * k)
        counts = (reading - low) / (high - low) * 32_767.0
        controller.tick(12.0 / 25.0 * 32_767.0, counts, 16_384.0)
        outputs.append(controller.output)
    tail = slice(ticks - 400, ticks)
    wave = 2.0 / 400 * (np.array(outputs)[tail] * turn[tail]).sum()
    found = law_response(law, np.array([frequency]))[0]
    assert -wave / (0.01 / 1j) == pytest.approx(found, rel=1e-6)


def sine_gain(plant, drive, period_ticks, settle_ticks, amplitude=1e-3):
    """Sensed pressure over drive at the frequency of the sine [Pa]."""
    periods = 3 if period_ticks > 50 else 10
    turn = 2.0 * math.pi / period_ticks
    total = 0j
    channel = SENSING.pressure
    for k in range(settle_ticks + periods * period_ticks):
        sensed = plant.sense()[0] / 32_767.0 * (channel.high - channel.low)
        if k >= settle_ticks:
            total += sensed * cmath.exp(-1j * turn * k)
        plant.advance(drive + amplitude * math.sin(turn * k))
    return 2.0 * total / (periods * period_ticks) / (amplitude / 1j)


def slow_sensing(delay_s):
    low, high = SENSING.pressure.low, SENSING.pressure.high
    channel = Channel(low, high, bits=None, lag_s=0.03, delay_s=delay_s)
    return Sensing(channel, SENSING.supply)


@pytest.mark.parametrize("period_ticks", [8, 40, 200])
@pytest.mark.parametrize(
    ("settings", "consumption_kg_s", "settle_ticks"),
    [
        (direct_plant(load_l=0.5, bleed=0.5), 0.0, 1_200),
        (chain_plant(load_l=2.0), 1e-3, 600),
    ],
    ids=["direct", "chain"],
)
def test_small_sine_on_the_plant_meets_the_held_response(
    settings, consumption_kg_s, settle_ticks, period_ticks
):
    delay_s = 0.013
    settings = PlantSettings(settings.arrangement, sensing=slow_sensing(delay_s))
    point = operating_point(settings, 4e5, consumption_kg_s=consumption_kg_s)
    frequency = 2.0 * math.pi / (period_ticks * TICK_S)
    held = held_response(linearise(point), TICK_S, delay_s)
    expected = held(np.array([frequency]))[0]

    plant = plant_at(point, TICK_S)
    found = sine_gain(plant, point.drive, period_ticks, settle_ticks)

    ratio = found / expected
    assert abs(20.0 * math.log10(abs(ratio))) < 0.2
    assert abs(math.degrees(cmath.phase(ratio))) < 1.5


@pytest.mark.parametrize(("delay", "delay_ticks"), [(0, 0), (1, 0), (0, 2)])
def test_loop_margins_match_python_control(delay, delay_ticks):
    h = 0.1
    law = unit_law(Gains(1.2, 0.9, 0.1), h, derivative_filter_s=0.05)
    channel = Channel(0.0, 1.0, bits=None, delay_s=delay_ticks * h)
    plant = control.c2d(control.tf([15.0], [1.0, 6.0, 5.0]), h, "zoh")
    integral = control.tf([0.9 * h], [1.0, -1.0], h)
    derivative = control.tf([0.1, -0.1], [0.05 + h, -0.05], h)
    late = control.tf([1.0], [1.0] + [0.0] * (delay + delay_ticks), h)
    system = (1.2 + integral + derivative) * plant * late
    gm, pm, _, wpc, wgc, _ = control.stability_margins(system)
    # Its polynomial method misses the peak of a loop with two ticks of delay by
    # 3 %: a dense grid finds what its method on sampled responses finds.
    sm = control.stability_margins(system, method="frd")[2]

    found = loop_margins(SECOND_ORDER, channel, law, delay)

    assert found.gain_margin == pytest.approx(gm, rel=1e-6)
    assert found.phase_crossover_rad_s == pytest.approx(wpc, rel=1e-6)
    assert found.phase_margin_deg == pytest.approx(pm, rel=1e-6)
    assert found.gain_crossover_rad_s == pytest.approx(wgc, rel=1e-6)
    assert found.ms == pytest.approx(1.0 / sm, rel=1e-6)


def test_loop_margin_of_a_sampled_integrator_lies_at_half_the_sampling_rate():
    h, kp = 0.1, 1.5
    found = loop_margins(INTEGRATOR, UNIT, unit_law(Gains(kp), h))
    assert found.gain_margin == pytest.approx(2.0 / (kp * 2.0 * h), rel=1e-9)
    assert found.phase_crossover_rad_s == pytest.approx(math.pi / h)


def test_loop_gain_scales_with_the_ranges_of_channel_and_law():
    wide = Channel(-1.0, 3.0, bits=None)
    law = LawSettings(0.1, measurement=Measurement((-0.5, 1.5)), pid=Pid(Gains(1.0)))
    w = np.array([0.3])
    narrow_gain = loop_gain(INTEGRATOR, UNIT, unit_law(Gains(1.0)))(w)
    assert loop_gain(INTEGRATOR, wide, law)(w) == pytest.approx(narrow_gain / 2.0)
