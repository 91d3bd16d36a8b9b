"""Sine steps on linear plants against python-control.

1. The held plant, discretised by ``control.c2d(..., "zoh")``: the same samples,
   so only the transient and rounding differ; 0.02 dB and 0.2 degrees.
2. The continuous plant by ``control.frequency_response``, with a tick short
   enough that half of it turns the phase by less than 0.6 degrees; the wanted
   0.2 dB and 1.5 degrees.
3. Closed forms: 1/(T s + 1) is -3 dB and -45 degrees at w T = 1 (3.0103 dB), a
   pair of lags 1/(T s + 1)^2 is at -90 degrees at w T = 1.
"""

import math

import control
import numpy as np
import pytest

from host_sim.accept.run import run_sequence
from host_sim.accept.sequence_frequency import FrequencySequence, response_points
from host_sim.errors import InputError
from host_sim.measure.static_table import StaticRange

PLANTS = {
    "lag": control.tf([1.0], [0.1, 1.0]),
    "underdamped": control.tf([400.0], [1.0, 12.0, 400.0]),
    "gain and three lags": control.tf([0.8], np.poly([-10.0, -25.0, -60.0]) / 15000.0),
}
FREQUENCIES_HZ = (0.2, 0.5, 1.0, 2.0, 3.0, 4.5, 7.0)
DB, DEGREES = 0.2, 1.5


def measured(rig, span, rest, frequencies_hz=FREQUENCIES_HZ):
    sequence = FrequencySequence(frequencies_hz=frequencies_hz)
    finished = run_sequence(sequence, rig, span, rest)
    return finished, response_points(finished.rows, span)


def reference(system, frequencies_hz):
    turns = 2.0 * math.pi * np.array(frequencies_hz)
    found = control.frequency_response(system, turns)
    gain, phase = np.abs(found.complex), np.unwrap(np.angle(found.complex))
    return 20.0 * np.log10(gain), np.degrees(phase)


def compare(points, system, decibels, degrees):
    gains_db, phases_deg = reference(system, [p.frequency_hz for p in points])
    assert [p.gain_db for p in points] == pytest.approx(gains_db, abs=decibels)
    assert [p.phase_deg for p in points] == pytest.approx(phases_deg, abs=degrees)


@pytest.mark.parametrize("name", PLANTS)
def test_sine_steps_match_the_held_plant(name, linear_rig, span, quick):
    rig = linear_rig(PLANTS[name], 0.01)
    _, points = measured(rig, span, quick)
    compare(points, control.c2d(PLANTS[name], 0.01, "zoh"), 0.02, 0.2)


@pytest.mark.parametrize("name", PLANTS)
def test_sine_steps_match_the_continuous_plant(name, linear_rig, span, quick):
    highest_hz = 2.0
    rig = linear_rig(PLANTS[name], 0.0016)
    assert 180.0 * highest_hz * 0.0016 < 0.6
    frequencies_hz = tuple(f for f in FREQUENCIES_HZ if f <= highest_hz)
    _, points = measured(rig, span, quick, frequencies_hz)
    compare(points, PLANTS[name], DB, DEGREES)


def test_sine_steps_find_the_crossings_of_lags(linear_rig, span, quick):
    frequencies_hz = tuple(np.geomspace(0.5, 4.0, 10).tolist())
    corner_hz = 1.0 / (2.0 * math.pi * 0.1)
    pair = control.tf([1.0], [0.01, 0.2, 1.0])
    finished, points = measured(linear_rig(pair, 0.001), span, quick, frequencies_hz)
    bandwidth, ninety, resonance = finished.figures
    # The first frequency is already 0.1 below w = 0 in gain: held against it.
    fallen = math.sqrt(1.0 + (0.5 / corner_hz) ** 2) ** 2 * 10.0 ** (3.0 / 20.0)
    assert bandwidth.measured == pytest.approx(
        corner_hz * math.sqrt(fallen - 1.0), rel=0.01
    )
    assert ninety.measured == pytest.approx(corner_hz, rel=0.01)
    assert resonance.measured == pytest.approx(0.0, abs=1e-6)
    assert len(points) == 10


def test_sine_steps_find_a_resonance(linear_rig, span, quick):
    wn, zeta = 20.0, 0.3
    peak_hz = wn * math.sqrt(1.0 - 2.0 * zeta**2) / (2.0 * math.pi)
    rig = linear_rig(PLANTS["underdamped"], 0.002)
    finished, points = measured(rig, span, quick, (0.2, 1.5, peak_hz, 5.0))
    peak = 1.0 / (2.0 * zeta * math.sqrt(1.0 - zeta**2)) / points[0].gain
    resonance = finished.figures[2]
    assert resonance.measured == pytest.approx(100 * (peak - 1), rel=0.01)
    assert f"{peak_hz:.3g} Hz" in resonance.text


def test_sine_steps_say_when_the_frequencies_do_not_reach(linear_rig, span, quick):
    rig = linear_rig(PLANTS["lag"], 0.01)
    finished, _ = measured(rig, span, quick, (0.2, 0.4))
    bandwidth, ninety, _ = finished.figures
    assert bandwidth.measured == ninety.measured == 0.4
    assert "not reached" in bandwidth.text


def test_sine_steps_on_a_reverse_range_have_the_same_response(linear_rig, quick):
    down = StaticRange((4.0, 20.0), (7e5, 1e5))
    _, points = measured(linear_rig(PLANTS["lag"], 0.01, down), down, quick)
    compare(points, control.c2d(PLANTS["lag"], 0.01, "zoh"), 0.02, 0.2)


@pytest.mark.parametrize(
    "frequencies_hz", [(20.0,), (0.0, 1.0), (2.0, 1.0), (1.0, 1.0)]
)
def test_sine_steps_refuse_frequencies(frequencies_hz, linear_rig, span):
    with pytest.raises(InputError, match="frequencies_hz"):
        run_sequence(
            FrequencySequence(frequencies_hz=frequencies_hz),
            linear_rig(PLANTS["lag"], 0.01),
            span,
        )
