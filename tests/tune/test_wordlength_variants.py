"""Scenarios with fewer bits: what changes, and what must not.

Published: signal to noise of an ideal converter of N bits, ``6.0206 N + 1.7609``
dB for a sine over its full range (the project's collected check values, section 13,
computed there). Tolerance 0.1 dB: the converter spreads its levels over ``2**N - 1``
steps instead of ``2**N`` (0.03 dB at 8 bits), and rounds a second time to counts of
15 bits (up to 0.07 dB at 12 bits).
"""

import math
from dataclasses import replace
from random import Random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_model.law import layout
from host_sim.errors import InputError
from host_sim.law.controller import Controller
from host_sim.law.quantise import quantise
from host_sim.law.settings import Gains
from host_sim.plant.channel import FULL_COUNTS, convert
from host_sim.scenario.load import load_scenario, shipped_scenario_path
from host_sim.tune import wordlength_variants as variants

PRESS = load_scenario(shipped_scenario_path())
BAG = load_scenario(shipped_scenario_path("press_bag_recorded.toml"))
SCENARIOS = pytest.mark.parametrize("scenario", [PRESS, BAG], ids=["press", "bag"])


def with_pid(scenario, **changes):
    pid = replace(scenario.law.pid, **changes)
    return replace(scenario, law=replace(scenario.law, pid=pid))


@given(
    mantissa=st.integers(1, 16_383), shift=st.integers(1, 29), bits=st.integers(1, 14)
)
def test_round_mantissa_keeps_so_many_bits_and_errs_by_half_of_the_last(
    mantissa, shift, bits
):
    rounded, kept_shift = variants.round_mantissa(mantissa, shift, bits)
    assert layout.MANTISSA[0] < rounded <= layout.MANTISSA[1]
    assert layout.SHIFT[0] <= kept_shift <= shift
    lowest = rounded & -rounded
    assert rounded // lowest < 1 << bits
    wanted, kept = mantissa / 2**shift, rounded / 2**kept_shift
    # At the smallest shift there is no room above, so the last bit is lost whole.
    share = 1.0 if shift == layout.SHIFT[0] and kept < wanted else 0.5
    assert abs(kept - wanted) <= share * wanted * 2.0 ** (1 - bits)


@given(mantissa=st.integers(1, 16_383), shift=st.integers(2, 29))
def test_round_mantissa_that_has_no_more_bits_is_left_alone(mantissa, shift):
    kept = variants.round_mantissa(mantissa, shift, mantissa.bit_length())
    assert kept == (mantissa, shift)


@SCENARIOS
def test_all_the_bits_there_are_leave_the_block_as_it_is(scenario):
    words = quantise(scenario.law).words
    for change, bits in (
        (variants.with_gain_bits, variants.MANTISSA_BITS),
        (variants.with_scale_bits, variants.MANTISSA_BITS),
        (variants.with_signal_bits, variants.SIGNAL_BITS),
    ):
        assert quantise(change(scenario, bits).law).words == words


@SCENARIOS
@pytest.mark.parametrize("bits", range(2, 14))
def test_fewer_gain_bits_change_gains_alone_and_survive_the_way_back(scenario, bits):
    before = quantise(scenario.law)
    after = quantise(variants.with_gain_bits(scenario, bits).law)
    gains = {f"{stem}_{part}" for stem in variants.GAINS for part in ("GAIN", "SHIFT")}
    for name, *_ in layout.PARAMETERS:
        assert name in gains or before[name] == after[name]
    for stem in variants.GAINS:
        assert after.ratio(stem) == pytest.approx(before.ratio(stem), rel=2.0**-bits)


@SCENARIOS
@pytest.mark.parametrize("bits", range(8, 15))
def test_coarser_signals_keep_mantissas_and_outputs(scenario, bits):
    before = quantise(scenario.law)
    after = quantise(variants.with_signal_bits(scenario, bits).law)
    unit = 2 ** (variants.SIGNAL_BITS - bits)
    for stem in ("P", "I", "D", "ABSOLUTE"):
        assert after.ratio(stem) == before.ratio(stem) * unit
    for stem in ("RANGE", "PRESSURE"):
        assert after.ratio(stem) == before.ratio(stem) / unit
    for name in ("OUTPUT_LOW", "OUTPUT_HIGH", "RATE_UP", "TRACK_GAIN", "LEAK_GAIN"):
        assert after[name] == before[name]
    assert after["DEADBAND"] == round(before["DEADBAND"] / unit)


@given(current=st.integers(6_000, 26_000), pressure=st.integers(3_000, 31_000))
def test_coarser_signals_see_the_same_set_point_and_pressure(current, pressure):
    for bits in (15, 13, 11):
        unit = 2 ** (15 - bits)
        pilot = Controller(quantise(variants.with_signal_bits(PRESS, bits).law))
        fine = Controller(quantise(PRESS.law))
        for law in (pilot, fine):
            law.tick(current, pressure, 16_384)
        # Each rounds its own products and its own offset: half a unit and a half.
        for name in ("TARGET", "PRESSURE"):
            assert abs(pilot.word(name) * unit - fine.word(name)) <= 1.0 + 1.5 * unit


def test_signals_as_coarse_as_told_fit_and_coarser_ones_do_not():
    steep = with_pid(PRESS, gains=Gains(200.0, 1.0))
    fewest = variants.fewest_signal_bits(steep)
    assert 8 < fewest < 15
    quantise(variants.with_signal_bits(steep, fewest).law)
    with pytest.raises(InputError):
        variants.with_signal_bits(steep, fewest - 1)


def test_signal_obstacles_are_named():
    command = replace(PRESS.law.command, reverse=True)
    reverse = replace(PRESS, law=replace(PRESS.law, command=command))
    held = with_pid(PRESS, hold=((0.0, 0.0), (1.0, 0.8)))
    assert variants.signal_obstacle(PRESS) is None
    assert "reverse" in variants.signal_obstacle(reverse)
    assert "hold" in variants.signal_obstacle(held)


@pytest.mark.parametrize("bits", [8, 10, 12])
def test_converter_bits_give_the_published_signal_to_noise(bits):
    random = Random(bits)
    turns = [2.0 * math.pi * random.random() for _ in range(40_000)]
    sine = np.array([0.5 + 0.5 * math.sin(turn) for turn in turns])
    read = np.array([convert(x, 0.0, 1.0, bits) for x in sine]) / FULL_COUNTS
    noise = float(np.mean((read - sine) ** 2))
    found_db = 10.0 * math.log10(0.125 / noise)
    assert found_db == pytest.approx(6.0206 * bits + 1.7609, abs=0.1)


def test_quiet_keeps_the_machine_and_takes_what_disturbs_it():
    still = variants.quiet(BAG)
    sensing = still.plant.sensing
    for channel in (sensing.pressure, sensing.supply, still.current_channel):
        assert channel.noise == channel.drift_per_s == 0.0
    assert sensing.pressure.bits == BAG.plant.sensing.pressure.bits
    supply = still.plant.arrangement.supply
    assert supply.changes == ()
    assert supply.ripple_pa == 0.0
    assert still.plant.arrangement.valve == BAG.plant.arrangement.valve
    # The press's leaks flow from the start on, so they stay.
    consumption = variants.quiet(PRESS).plant.arrangement.consumption
    assert consumption == PRESS.plant.arrangement.consumption
