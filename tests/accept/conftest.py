"""Rigs of known truth: what a sequence must find is what was built in."""

import control
import numpy as np
import pytest

from host_sim.accept.bench import Rest
from host_sim.accept.rig import Sample
from host_sim.measure.static_table import StaticRange

SPAN = StaticRange((4.0, 20.0), (1e5, 7e5))


class LinearRig:
    """A linear plant under a held current, exact from tick to tick."""

    def __init__(self, transfer, tick_s, span=SPAN):
        held = control.ss(control.c2d(transfer, tick_s, "zoh"))
        self.held, self._tick_s, self.span = held, tick_s, span
        self.state = np.zeros(len(held.A))

    @property
    def tick_s(self):
        return self._tick_s

    def tick(self, current_ma):
        share = self.span.input_percent(np.array([current_ma]))[0] / 100.0
        seen = (self.held.C @ self.state)[0] + self.held.D[0, 0] * share
        self.state = self.held.A @ self.state + self.held.B[:, 0] * share
        low_pa, high_pa = self.span.pressure_pa
        return Sample(low_pa + float(seen) * (high_pa - low_pa), 0.0, (), 9e5)


class MadeRig:
    """A pressure that follows a play of the input with a lag, and leans.

    It leans on supply and flow, leaks, and starts from the atmosphere without
    power; every share is of the span.
    """

    tick_s = 0.01
    lag_s = 0.05
    dark_lag_s = 0.5

    def __init__(
        self, play=0.0, bow=0.0, supply_lean=0.0, flow_lean=0.0, leak_kg_s=0.0
    ):
        self.play, self.bow = play, bow
        self.supply_lean, self.flow_lean = supply_lean, flow_lean
        self.leak_kg_s = leak_kg_s
        self.supply_set_pa, self.flow_kg_s, self.used_kg = 9e5, 0.0, 0.0
        self.inner, self.pressure, self.on = 0.0, 0.0, True

    def tick(self, current_ma):
        low_pa, high_pa = SPAN.pressure_pa
        sample = Sample(
            low_pa + self.pressure * (high_pa - low_pa),
            0.0,
            (),
            self.supply_set_pa,
            self.used_kg,
        )
        share = (current_ma - 4.0) / 16.0
        half = self.play / 2.0
        self.inner = min(max(self.inner, share - half), share + half)
        wanted = self.inner + 4.0 * self.bow * self.inner * (1.0 - self.inner)
        wanted += self.supply_lean * (self.supply_set_pa - 9e5) / 9e5
        wanted -= self.flow_lean * self.flow_kg_s
        wanted, lag_s = (wanted, self.lag_s) if self.on else (0.0, self.dark_lag_s)
        self.pressure += (wanted - self.pressure) * self.tick_s / lag_s
        self.used_kg += self.leak_kg_s * self.tick_s
        return sample

    def set_supply(self, pressure_pa):
        self.supply_set_pa = pressure_pa

    def set_flow(self, flow_kg_s):
        self.flow_kg_s = flow_kg_s

    def restart(self):
        self.pressure -= 0.1

    def set_power(self, *, on):
        self.on = on


@pytest.fixture
def span():
    return SPAN


@pytest.fixture
def quick():
    """Rest for rigs that settle in half a second."""
    return Rest(window_s=0.2, band_percent=0.005, least_s=0.4, most_s=3.0)


@pytest.fixture
def linear_rig():
    return LinearRig


@pytest.fixture
def made_rig():
    return MadeRig
