"""Integer law against the float reference on the same, unrounded inputs.

The reference runs on the settings that the quantised block stands for, so what
is left is the law's own rounding. Calibrations of one signal a count keep the
inputs exact. Bound: 2 LSB, one rounding of each term, and the gains times the
rounding of the words that they multiply (the filters' and the ramp's).
"""

import math
from dataclasses import replace
from random import Random

from hypothesis import given
from hypothesis import strategies as st

from host_sim.law.block import FULL
from host_sim.law.controller import Controller
from host_sim.law.quantise import quantise
from host_sim.law.read_back import read_back
from host_sim.law.reference import FloatController
from host_sim.law.settings import (
    INFINITE,
    Command,
    Gains,
    LawSettings,
    Measurement,
    Output,
    Pid,
    SupplyCompensation,
)

TICK_S = 0.01
EXACT_COMMAND = Command(
    channel_ma=(0.0, 32.767),
    start_ma=0.0,
    end_ma=25.0,
    low_fault_ma=0.0,
    high_fault_ma=25.0,
)
EXACT_PRESSURE = Measurement(channel=(-0.05, (32_767 - 1_250) / FULL))


def off_or(low, high):
    """Draw zero or a logarithmically spread number."""
    spread = st.floats(math.log(low), math.log(high)).map(math.exp)
    return st.just(0.0) | spread


@st.composite
def law_settings(draw):
    """Draw a law with every continuous feature on or off."""
    gains = Gains(draw(off_or(0.05, 20)), draw(off_or(0.05, 50)), draw(off_or(0.01, 1)))
    rate = st.just(INFINITE) | st.floats(0.2, 20)
    return LawSettings(
        tick_s=TICK_S,
        command=replace(
            EXACT_COMMAND,
            reverse=draw(st.booleans()),
            ramp_up_per_s=draw(rate),
            ramp_down_per_s=draw(rate),
        ),
        measurement=replace(EXACT_PRESSURE, filter_s=draw(off_or(0.005, 0.2))),
        supply=SupplyCompensation(),
        pid=Pid(
            gains=gains,
            weight=draw(st.floats(0, 1)),
            derivative_filter_s=draw(off_or(0.01, 0.5)),
            tracking_s=draw(st.just(INFINITE) | st.floats(0.05, 2)),
            hold=draw(st.just(()) | st.just(((0.0, 0.02), (0.5, 0.3), (1.1, 0.5)))),
        ),
        output=Output(
            low=draw(st.floats(-1, 0)),
            high=draw(st.floats(0.1, 1)),
            rise_per_s=draw(rate),
            fall_per_s=draw(rate),
        ),
    )


def rounding_lsb(settings):
    """Bound of the output difference, from the settings alone [LSB]."""
    pid = settings.pid
    kp = pid.gains.kp
    kd = pid.gains.kd_s / (pid.derivative_filter_s + settings.tick_s)
    ki = pid.gains.ki_per_s * settings.tick_s
    filtered = 1.0 if settings.measurement.filter_s else 0.0
    ramped = 1.0 if settings.command.ramp_up_per_s < INFINITE else 0.0
    ramped += 1.0 if settings.command.ramp_down_per_s < INFINITE else 0.0
    words = kp * (filtered + ramped + 0.5) + kd * (1.0 + 2.0 * filtered)
    return 2.0 + 0.5 + 0.5 + 1.0 + 0.5 + words, ki * (filtered + ramped)


def drive_both(settings, seed, ticks=300):
    """Run both laws on the same counts; return the output differences [LSB]."""
    random = Random(seed)
    board = Controller(quantise(settings))
    reference = FloatController(read_back(board.block))
    current, pressure = 12_000, 10_000
    differences = []
    for _ in range(ticks):
        if random.random() < 0.03:
            current = random.randint(1_000, 24_000)
        pressure += random.randint(-200, 200) + (current + 1_250 - pressure) // 20
        pressure = max(0, min(28_000, pressure))
        board.tick(current, pressure, 16_384)
        reference.tick(current, pressure, 16_384)
        differences.append((board.output - reference.output) * FULL)
    return differences


@given(settings=law_settings(), seed=st.integers(0, 2**32))
def test_against_float_output_within_its_roundings(settings, seed):
    differences = drive_both(settings, seed)
    fixed, integrated = rounding_lsb(settings)
    for k, difference in enumerate(differences):
        assert abs(difference) <= fixed + integrated * k, k


def test_against_float_without_filters_within_two_lsb_and_term_roundings():
    settings = LawSettings(
        tick_s=TICK_S,
        command=EXACT_COMMAND,
        measurement=EXACT_PRESSURE,
        pid=Pid(gains=Gains(2.0, 4.0, 0.05), tracking_s=0.3),
    )
    worst = max(abs(d) for seed in range(20) for d in drive_both(settings, seed, 2_000))
    assert 0.0 < worst <= 2.0 + 3 * 0.5
