"""The law is called once a tick; delay and record are what they say."""

import numpy as np
import pytest
from bench_plant import CURRENT, LOW_PA, SPAN_PA, direct_plant

from host_sim.loop.loop import Loop
from host_sim.plant.channel import ChannelState
from host_sim.plant.plant import Plant

TICK_S = 0.01


class Counting:
    """A law that counts its calls and answers with a known drive."""

    def __init__(self):
        self.calls = []

    def __getattr__(self, name):
        return () if name == "faults" else 0.0

    def tick(self, current_counts, pressure_counts, supply_counts):
        self.calls.append((current_counts, pressure_counts, supply_counts))
        return 0.1 * len(self.calls)


def loop_of(delay):
    law = Counting()
    plant = Plant(direct_plant(), TICK_S)
    return Loop(plant, law, ChannelState(CURRENT, TICK_S, 0), delay), law


@pytest.mark.parametrize(("delay", "drives"), [(0, [10, 20, 30]), (1, [0, 10, 20])])
def test_loop_calls_the_law_once_a_tick_and_delays_its_drive(delay, drives):
    loop, law = loop_of(delay)
    run = loop.run([12.0, 12.0, 12.0])
    assert len(law.calls) == run.ticks == loop.tick == loop.plant.tick == 3
    assert run.columns["drive_percent"] == pytest.approx(drives)
    assert np.array_equal(run.time_s, [0.0, TICK_S, 2 * TICK_S])


def test_loop_law_sees_what_the_plant_shows_at_the_tick():
    loop, law = loop_of(0)
    run = loop.run([12.0] * 20)
    channel = direct_plant().sensing.pressure
    seen_pa = channel.low + np.array([c[1] for c in law.calls]) / 32_767 * (
        channel.high - channel.low
    )
    assert seen_pa == pytest.approx(run.columns["load_pa"], abs=1e-6 * SPAN_PA)
    assert run.columns["load_pa"][0] == pytest.approx(LOW_PA, rel=1e-12)
    assert law.calls[0][0] == pytest.approx(12.0 / 25.0 * 32_767)


def test_loop_run_is_step_after_step():
    by_run, _ = loop_of(1)
    by_step, _ = loop_of(1)
    run = by_run.run([12.0] * 5)
    for _ in range(5):
        by_step.step(12.0)
    for name, column in by_step.recorder.run(TICK_S).columns.items():
        assert np.array_equal(column, run.columns[name], equal_nan=True), name
