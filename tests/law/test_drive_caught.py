"""The valve pair while the output turns round in the middle of a pulse."""

from random import Random

from bench_law import TICK_S, exact_pilot, tick
from hypothesis import given
from hypothesis import strategies as st

from host_sim.law.settings import Gains, ValvePairDrive


@given(seed=st.integers(0, 2**32), shortest=st.integers(2, 12))
def test_drive_pair_keeps_its_shortest_pulse_while_the_output_turns(seed, shortest):
    random = Random(seed)
    pilot = exact_pilot(Gains(0.0), drive=ValvePairDrive(shortest * TICK_S))
    pilot.mode = "manual"
    tick(pilot, 10_000, 10_000)
    demands = [1.0] * shortest + [-1.0] * 4 * shortest
    while len(demands) < 600:
        held = random.randint(1, 2 * shortest)
        demands += [random.choice((-1.0, -0.3, 0.3, 1.0))] * held
    drives = []
    for pilot.demand in demands:
        drives.append(tick(pilot, 10_000, 10_000))
    run = 0
    for before, drive in zip(drives, [*drives[1:], drives[-1]], strict=True):
        run += 1
        if drive != before:
            assert before == 0.0 or run >= shortest
            run = 0
    assert {-1.0, 1.0} <= set(drives)
