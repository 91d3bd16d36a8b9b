"""A tuning looked at from two other sides: exact gains, and a finer plant."""

from dataclasses import dataclass, replace

from host_sim.law.controller import Controller
from host_sim.law.quantise import quantise
from host_sim.law.reference import FloatController
from host_sim.law.settings import LawSettings
from host_sim.loop.loop import CURRENT_STREAM, Loop
from host_sim.loop.record import Law
from host_sim.measure.answer import Answer, measure_run
from host_sim.plant.channel import ChannelState
from host_sim.plant.plant import Plant
from host_sim.scenario.load import Scenario
from host_sim.scenario.profile import currents_ma

FINER = 4
"""Times as many substeps: the plant's own error becomes some 250 times smaller."""


@dataclass(frozen=True)
class Verified:
    """What one machine did: all steps settled in all, the worst overshoot.

    ``settling_s`` is None where a step did not settle; overshoot is a share of
    the step.
    """

    name: str
    settling_s: float | None
    overshoot: float


def verify(scenario: Scenario, law: LawSettings) -> list[Verified]:
    """Run a machine as the board would, in exact numbers, and on a finer plant.

    Parameters
    ----------
    scenario : Scenario
        The machine.
    law : LawSettings
        As wanted, before it is quantised.

    Returns
    -------
    list of Verified
        The board's integers; float64 with gains as wanted; the board's integers
        on a plant of `FINER` substeps.
    """
    tuned = replace(scenario, law=law)
    return [
        _run("integers, as on the board", tuned, Controller(quantise(law)), 1),
        _run("float64, gains not rounded", tuned, FloatController(law), 1),
        _run(
            f"integers, {FINER} x finer plant", tuned, Controller(quantise(law)), FINER
        ),
    ]


def _run(name: str, scenario: Scenario, law: Law, factor: int) -> Verified:
    tick_s = scenario.law.tick_s
    seed = (scenario.plant.sensing.seed, CURRENT_STREAM)
    loop = Loop(
        Plant(scenario.plant, tick_s, factor),
        law,
        ChannelState(scenario.current_channel, tick_s, seed),
        scenario.compute_delay_ticks,
    )
    currents = currents_ma(scenario.profile, tick_s, scenario.ticks)
    answer = measure_run(scenario, loop.run(currents))
    return Verified(name, _settling_s(answer), _overshoot(answer))


def _settling_s(answer: Answer) -> float | None:
    times_s = [step.settling_band_s for step in answer.steps]
    settled_s = [time_s for time_s in times_s if time_s is not None]
    return sum(settled_s) if len(settled_s) == len(times_s) else None


def _overshoot(answer: Answer) -> float:
    return max((step.overshoot_percent or 0.0) / 100.0 for step in answer.steps)
