"""A sampled law and a continuous plant, joined: `step`, and `run` over it."""

from collections.abc import Callable
from typing import Self

from host_sim.law.controller import Controller
from host_sim.law.quantise import quantise
from host_sim.loop.record import Law, Recorder, Run
from host_sim.plant.channel import ChannelState
from host_sim.plant.plant import Plant
from host_sim.scenario.load import Scenario
from host_sim.scenario.profile import currents_ma

CURRENT_STREAM = 2


class Loop:
    """The closed loop; the law is called exactly once a tick.

    In tick k the sensors are read, the law decides, the row is recorded, and
    the plant moves one tick with the drive held: the one decided now, or with
    ``compute_delay_ticks = 1`` the one decided a tick earlier.

    Parameters
    ----------
    plant : Plant
    law : Law
        Integer controller, float reference, or anything with their calls.
    current : ChannelState
        The command's way to counts.
    compute_delay_ticks : int
        0 or 1.

    Attributes
    ----------
    tick : int
        Ticks done.
    """

    def __init__(
        self,
        plant: Plant,
        law: Law,
        current: ChannelState,
        compute_delay_ticks: int = 0,
    ) -> None:
        self.plant = plant
        self.law = law
        self.recorder = Recorder()
        self.tick = 0
        self._current = current
        self._pending = [0.0] * compute_delay_ticks

    @classmethod
    def of(cls, scenario: Scenario, law: Law | None = None) -> Self:
        """Build the loop of a scenario, with its integer law unless given."""
        tick_s = scenario.law.tick_s
        seed = (scenario.plant.sensing.seed, CURRENT_STREAM)
        return cls(
            Plant(scenario.plant, tick_s),
            law or Controller(quantise(scenario.law)),
            ChannelState(scenario.current_channel, tick_s, seed),
            scenario.compute_delay_ticks,
        )

    def step(self, current_ma: float) -> float:
        """Do one tick with a command current; return the drive applied."""
        pressure_counts, supply_counts = self.plant.sense()
        current_counts = self._current.counts(current_ma)
        self._pending.append(
            self.law.tick(current_counts, pressure_counts, supply_counts)
        )
        drive = self._pending.pop(0)
        self.recorder.take(self.plant, self.law, current_ma, drive)
        self.plant.advance(drive)
        self.tick += 1
        return drive

    def run(
        self, currents: list[float], each_tick: Callable[[int], None] | None = None
    ) -> Run:
        """Do one step for each current; an interrupt keeps what is done.

        Parameters
        ----------
        currents : list of float
            Command current of each tick [mA].
        each_tick : callable, optional
            Called with the number of ticks done, for a progress bar.

        Returns
        -------
        Run
            Shorter than ``currents`` when interrupted.
        """
        try:
            for current_ma in currents:
                self.step(current_ma)
                if each_tick is not None:
                    each_tick(self.tick)
        except KeyboardInterrupt:
            if not self.tick:
                raise
        return self.recorder.run(self.plant.tick_s)


def run_scenario(
    scenario: Scenario,
    law: Law | None = None,
    each_tick: Callable[[int], None] | None = None,
) -> Run:
    """Run a scenario from its start to its end.

    Parameters
    ----------
    scenario : Scenario
    law : Law, optional
        The scenario's integer law unless given.
    each_tick : callable, optional
        Called with the number of ticks done.

    Returns
    -------
    Run
    """
    currents = currents_ma(scenario.profile, scenario.law.tick_s, scenario.ticks)
    return Loop.of(scenario, law).run(currents, each_tick)
