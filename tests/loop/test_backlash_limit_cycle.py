"""The limit cycle of valve play and integral action against its prediction.

Predicted: harmonic balance ``1 + N(A) L(j w) = 0`` with N the describing function
of backlash (Gelb & Vander Velde 1968, Slotine & Li 1991, from memory, recomputed:
`tests/plant/test_describing_functions.py` holds its values) and L the project's own
sampled loop gain with the play closed. The air bag is a pure integrator here:
choked filling against a constant consumption.

Accuracy: the prediction neglects all harmonics but the first. It is good where
the loop damps the others; here it passes the third at most a fifth as well as
the first, and the play's output holds little of it. 10 % is what the method is
usually trusted with (common practice, no source). Demanded: 4 % in the period and
5 % in the amplitude of the first harmonic; found: up to 2.5 % and 4.3 %.
"""

import math
from dataclasses import replace

import numpy as np
import pytest
from bench_plant import CURRENT, LOW_PA, SENSING, SPAN_PA, UNIT_C, board, law_settings
from scipy.optimize import root

from host_sim.law.reference import FloatController
from host_sim.law.settings import Gains
from host_sim.loop.loop import Loop
from host_sim.measure.frequency import law_response, loop_gain
from host_sim.plant.channel import ChannelState
from host_sim.plant.linear import linearise
from host_sim.plant.operating_point import operating_point
from host_sim.plant.plant import Plant
from host_sim.plant.settings import (
    Channel,
    Consumption,
    DirectPlant,
    DirectValve,
    PlantSettings,
    Restriction,
    Sensing,
    Supply,
    Volume,
)

TICK_S = 0.02
REST_PA = 4e5
CONSUMPTION_KG_S = 6e-3
PLAY = 0.04


def bag(sensor_lag_s=0.0, play=PLAY, start_pa=REST_PA):
    """A bag that integrates: choked from 16 bar, a constant consumption."""
    path = Restriction(0.8 * UNIT_C)
    plant = DirectPlant(
        DirectValve(path, path, hysteresis=play),
        Volume(1e-3, start_pa),
        Supply(16e5),
        consumption=Consumption(((0.0, CONSUMPTION_KG_S),)),
    )
    pressure = replace(SENSING.pressure, lag_s=sensor_lag_s)
    return PlantSettings(
        plant, sensing=Sensing(pressure, Channel(0.0, 20e5, bits=None))
    )


def backlash(ratio):
    """Gain of the first harmonic; ``ratio`` is amplitude over half width."""
    k = 1.0 - 2.0 / ratio
    real = 0.5 + (math.asin(k) + k * math.sqrt(1.0 - k * k)) / math.pi
    return complex(real, -(1.0 - k * k) / math.pi)


def sampled_gain(settings, law):
    point = operating_point(settings, REST_PA, consumption_kg_s=CONSUMPTION_KG_S)
    return loop_gain(linearise(point), settings.sensing.pressure, law)


def predict(settings, law):
    """Angular frequency [rad/s], and amplitudes of drive [-] and pressure [Pa]."""
    gain = sampled_gain(settings, law)

    def balance(unknowns):
        frequency, ratio = math.exp(unknowns[0]), 1.0 + math.exp(unknowns[1])
        rest = 1.0 + backlash(ratio) * gain(np.array([frequency]))[0]
        return [rest.real, rest.imag]

    found = root(balance, [0.0, 0.0], tol=1e-12)
    assert found.success
    frequency, ratio = math.exp(found.x[0]), 1.0 + math.exp(found.x[1])
    drive = ratio * settings.arrangement.valve.hysteresis / 2.0
    third, first = (abs(gain(np.array([n * frequency]))[0]) for n in (3, 1))
    assert third / first < 0.2
    # A lag between pressure and reading hides part of the pressure's swing.
    hidden = abs(1.0 + 1j * frequency * settings.sensing.pressure.lag_s)
    seen = drive / abs(law_response(law, np.array([frequency]))[0])
    return frequency, drive, seen * hidden * SPAN_PA


def simulate(settings, law, seconds):
    """Run at a constant command that asks for the rest pressure."""
    current_ma = 4.0 + 16.0 * (REST_PA - LOW_PA) / SPAN_PA
    loop = Loop(Plant(settings, TICK_S), law, ChannelState(CURRENT, TICK_S, 0))
    return loop.run([current_ma] * round(seconds / TICK_S))


def cycle(wave):
    """Angular frequency [rad/s] and first harmonic of whole periods of a wave."""
    wave = wave - wave.mean()
    up = np.flatnonzero((wave[:-1] < 0.0) & (wave[1:] >= 0.0))
    times = up - wave[up] / (wave[up + 1] - wave[up])
    assert len(times) > 4
    frequency = 2.0 * math.pi * (len(times) - 1) / (times[-1] - times[0])
    ticks = np.arange(round(times[0]), round(times[-1]))
    turning = wave[ticks] * np.exp(-1j * frequency * ticks)
    return frequency / TICK_S, 2.0 * abs(turning.mean())


@pytest.mark.parametrize(
    ("make", "kc", "ti_s", "lag_s"),
    [
        (FloatController, 0.5, 0.3, 0.0),
        (FloatController, 0.25, 0.2, 0.0),
        (FloatController, 0.5, 0.4, 0.08),
        (board, 0.5, 0.3, 0.0),
    ],
    ids=["more damping", "less damping", "lagging sensor", "integer law"],
)
def test_play_and_integral_action_cycle_as_predicted(make, kc, ti_s, lag_s):
    settings = bag(lag_s)
    law = law_settings(Gains.from_ideal(kc, ti_s), tick_s=TICK_S)
    frequency, drive, pressure_pa = predict(settings, law)

    run = simulate(settings, make(law), 50.0)

    tail = slice(run.ticks // 2, None)
    found, swing = cycle(run.columns["drive_percent"][tail] / 100.0)
    assert found == pytest.approx(frequency, rel=0.04)
    assert swing == pytest.approx(drive, rel=0.05)
    _, swing_pa = cycle(run.columns["load_pa"][tail])
    assert swing_pa == pytest.approx(pressure_pa, rel=0.05)


def test_cycle_grows_with_the_play_and_keeps_its_period():
    """Scale invariance: with all linear but the play, exact but for the ticks."""
    law = law_settings(Gains.from_ideal(0.5, 0.3), tick_s=TICK_S)
    found = []
    for play in (0.02, 0.04):
        run = simulate(bag(play=play), FloatController(law), 50.0)
        found.append(cycle(run.columns["load_pa"][run.ticks // 2 :]))
    assert found[1][0] == pytest.approx(found[0][0], rel=1e-3)
    assert found[1][1] == pytest.approx(2.0 * found[0][1], rel=1e-3)


def test_without_play_the_same_loop_comes_to_rest():
    law = law_settings(Gains.from_ideal(0.5, 0.3), tick_s=TICK_S)
    run = simulate(bag(play=0.0), FloatController(law), 40.0)
    assert np.ptp(run.columns["load_pa"][3 * run.ticks // 4 :]) < 1.0


@pytest.mark.parametrize("kp", [1.0, 4.0])
def test_p_alone_rests_in_a_band_of_the_play_over_the_gain(kp):
    """Where it rests depends on the side it came from: e = (x0 -+ h) / kp."""
    law = law_settings(Gains(kp), tick_s=TICK_S)
    point = operating_point(bag(), REST_PA, consumption_kg_s=CONSUMPTION_KG_S)
    offsets = []
    for start_pa in (1.5e5, 4.5e5):
        run = simulate(bag(start_pa=start_pa), FloatController(law), 20.0)
        resting_pa = run.columns["load_pa"][run.ticks // 2 :]
        assert np.ptp(resting_pa) < 1.0
        opening = run.columns["opening"][-1]
        assert opening == pytest.approx(point.drive, rel=1e-6)
        offsets.append((REST_PA - resting_pa[-1]) / SPAN_PA)
    expected = [(point.drive + side * PLAY / 2.0) / kp for side in (-1.0, 1.0)]
    assert offsets == pytest.approx(expected, rel=1e-5)
