"""Proportional drive and valve pair."""

from random import Random

import pytest
from bench_law import TICK_S, exact_pilot, tick
from hypothesis import given
from hypothesis import strategies as st

from host_sim.law.block import FULL
from host_sim.law.settings import Gains, Output, ProportionalDrive, ValvePairDrive


def manual_drives(output, ticks, drive):
    """Run a law in manual at a fixed output; return its drives."""
    pilot = exact_pilot(Gains(0.0), drive=drive)
    pilot.mode = "manual"
    tick(pilot, 10_000, 10_000)
    drives = []
    for _ in range(ticks):
        pilot.demand = output
        drives.append(tick(pilot, 10_000, 10_000))
    return drives


def pulses(drives):
    """List (valve, ticks) of every run of equal drives."""
    runs = []
    for drive in drives:
        if runs and runs[-1][0] == drive:
            runs[-1][1] += 1
        else:
            runs.append([drive, 1])
    return runs


@given(output=st.floats(-1, 1), shortest=st.integers(1, 20))
def test_drive_pair_gives_the_average_exactly(output, shortest):
    pair = ValvePairDrive(minimum_on_s=shortest * TICK_S)
    drives = manual_drives(output, 1_000, pair)
    assert set(drives) <= {-1.0, 0.0, 1.0}
    owed = abs(sum(drives) - 1_000 * output)
    assert owed <= shortest + 1 + 1_000 / 50_000


@given(output=st.floats(-1, 1), shortest=st.integers(1, 20))
def test_drive_pair_keeps_its_shortest_pulse(output, shortest):
    drives = manual_drives(output, 800, ValvePairDrive(shortest * TICK_S))
    for drive, ticks in pulses(drives)[:-1]:
        assert drive == 0.0 or ticks >= shortest


@given(seed=st.integers(0, 2**32), dead=st.integers(1, 15))
def test_drive_pair_waits_between_different_valves(seed, dead):
    random = Random(seed)
    pilot = exact_pilot(Gains(0.0), drive=ValvePairDrive(TICK_S, dead * TICK_S))
    pilot.mode = "manual"
    drives = []
    for _ in range(600):
        if random.random() < 0.1:
            pilot.demand = random.uniform(-1, 1)
        drives.append(tick(pilot, 10_000, 10_000))
    last, shut_ticks = 0.0, 0
    for drive in drives:
        if drive == 0.0:
            shut_ticks += 1
            continue
        if last and drive == -last:
            assert shut_ticks >= dead
        last, shut_ticks = drive, 0


def test_drive_pair_same_valve_needs_no_dead_time():
    pair = ValvePairDrive(minimum_on_s=TICK_S, dead_time_s=50 * TICK_S)
    assert sum(manual_drives(0.5, 400, pair)) == pytest.approx(200, abs=2)


def test_drive_dither_is_a_square_wave_of_no_average():
    dither = ProportionalDrive(dither=0.02, dither_half_period_s=3 * TICK_S)
    drives = manual_drives(0.25, 60, dither)
    assert {round(d - 0.25, 4) for d in drives} == {-0.02, 0.02}
    assert sum(drives) / 60 == pytest.approx(0.25, abs=1e-4)
    assert {ticks for _, ticks in pulses(drives)[1:-1]} == {3}


def test_drive_dither_stays_within_full_drive():
    dither = ProportionalDrive(dither=0.1, dither_half_period_s=TICK_S)
    assert max(manual_drives(0.95, 20, dither)) == 1.0


@given(output=st.floats(-1, 1), shortest=st.integers(2, 100), wait=st.integers(1, 200))
def test_drive_pair_vents_at_once_in_a_fault(output, shortest, wait):
    pair = ValvePairDrive(shortest * TICK_S, dead_time_s=3 * TICK_S)
    pilot = exact_pilot(Gains(0.0), drive=pair, command={"patience_s": TICK_S})
    pilot.mode = "manual"
    tick(pilot, 10_000, 10_000)
    for _ in range(wait):
        pilot.demand = output
        tick(pilot, 10_000, 10_000)
    drives = [tick(pilot, 0, 10_000) for _ in range(5)]
    assert pilot.active == "fault"
    assert max(drives) <= 0.0
    assert drives[-1] == -1.0


@given(drive=st.floats(-1, 1), ticks=st.integers(1, 50))
def test_drive_pair_full_output_opens_at_once(drive, ticks):
    pair = ValvePairDrive(minimum_on_s=100 * TICK_S)
    pilot = exact_pilot(Gains(0.0), drive=pair)
    pilot.mode = "manual"
    for _ in range(2):
        tick(pilot, 10_000, 10_000)
    pilot.demand = 1.0
    assert [tick(pilot, 10_000, 10_000) for _ in range(ticks)] == [1.0] * ticks


def test_drive_dither_rests_in_a_fault_and_keeps_the_range_of_outputs():
    dither = ProportionalDrive(dither=0.05, dither_half_period_s=TICK_S)
    output = Output(low=0.0, high=0.5)
    pilot = exact_pilot(
        Gains(10.0), drive=dither, output=output, command={"patience_s": TICK_S}
    )
    drives = {tick(pilot, 20_000, 10_000) for _ in range(20)}
    assert max(drives) == 0.5
    assert {tick(pilot, 0, 10_000) for _ in range(10)} == {0.0}
    assert pilot.word("DRIVE") == pilot.word("OUTPUT") == 0 * FULL
