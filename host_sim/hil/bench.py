"""A device on the simulated plant, step by step, for a test to write down."""

import math
from dataclasses import replace

from host_sim.loop.loop import Loop
from host_sim.loop.record import Law, Run
from host_sim.measure.answer import Answer, measure_run
from host_sim.plant.plant import Plant
from host_sim.scenario.load import Scenario
from host_sim.scenario.profile import Profile

PERCENT = 100.0


class Recorder:
    """Drives the loop of device and plant, and keeps every tick of it.

    Parameters
    ----------
    scenario : Scenario
        Machine, ranges and settle band; its command is left out.
    device : Law
        The law, in process or on a board.

    >>> from host_sim.law.controller import Controller
    >>> from host_sim.law.quantise import quantise
    >>> from host_sim.scenario.load import load_scenario, shipped_scenario_path
    >>> press = load_scenario(shipped_scenario_path())
    >>> recorder = Recorder(press, Controller(quantise(press.law)))
    >>> recorder.hold(4.0, 0.5)
    >>> recorder.hold(12.0, 3.0)
    >>> abs(recorder.pressure_percent - 50.0) < 1.0
    True
    """

    def __init__(self, scenario: Scenario, device: Law) -> None:
        self._scenario = scenario
        self._loop = Loop.of(scenario, device)
        self._times_s: list[float] = []
        self._currents_ma: list[float] = []

    @property
    def plant(self) -> Plant:
        """The simulated plant that the device drives."""
        return self._loop.plant

    @property
    def time_s(self) -> float:
        """Time since the start [s]."""
        return self._loop.tick * self._scenario.law.tick_s

    @property
    def pressure_percent(self) -> float:
        """Load pressure now, in percent of the range."""
        low_pa, high_pa = self._scenario.pressure_range_pa
        load_pa = self.plant.pressures_pa().load
        return PERCENT * (load_pa - low_pa) / (high_pa - low_pa)

    def hold(self, current_ma: float, duration_s: float) -> None:
        """Hold a command current for a while.

        Parameters
        ----------
        current_ma : float
            Command current [mA].
        duration_s : float
            How long [s]; rounded up to whole ticks.
        """
        self._times_s.append(self.time_s)
        self._currents_ma.append(current_ma)
        ticks = math.ceil(duration_s / self._scenario.law.tick_s - 1e-9)
        for _ in range(ticks):
            self._loop.step(current_ma)

    def run(self) -> Run:
        """Give all columns of all ticks so far."""
        return self._loop.recorder.run(self._scenario.law.tick_s)

    def measure(self) -> Answer:
        """Measure every step so far, as `integer-pilot step` does."""
        profile = Profile(tuple(self._times_s), tuple(self._currents_ma))
        ticks = self._loop.tick
        done = replace(
            self._scenario, profile=profile, ticks=ticks, duration_s=self.time_s
        )
        return measure_run(done, self.run())
