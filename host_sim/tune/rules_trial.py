"""What each rule's gains do on the sampled loop: margins and step answers."""

from dataclasses import dataclass, replace

import numpy as np

from host_sim.errors import InputError
from host_sim.law.settings import LawSettings
from host_sim.measure.frequency import open_loop
from host_sim.measure.linear_loop import linear_loop
from host_sim.measure.margin_study import LINEAR, linear_plants
from host_sim.measure.margins import FloatArray, Margins
from host_sim.plant.linear import INPUTS, OUTPUTS, LinearPlant
from host_sim.plant.settings import Channel
from host_sim.scenario.load import Scenario
from host_sim.tune.models import Model
from host_sim.tune.rules import Proposal, RuleAnswers, ask_rules
from host_sim.tune.rules_facts import RuleFacts, facts_of_plant
from host_sim.tune.rules_plant import model_plant

PERIODS = 10
"""Length of each half of a step answer, over the ultimate period."""
LOAD = 0.1
"""Load step over the ultimate gain, for a set-point step of 1."""
MOST_TICKS = 20_000


@dataclass(frozen=True)
class TrialLoop:
    """A linear plant, its sensor and a law whose gains are to be chosen."""

    plant: LinearPlant
    channel: Channel
    law: LawSettings
    compute_delay_ticks: int = 0


@dataclass(frozen=True)
class Trial:
    """A rule's proposal and the margins that it gives."""

    proposal: Proposal
    law: LawSettings
    margins: Margins


@dataclass(frozen=True)
class RuleStudy:
    """All rules asked about one loop, and tried on it."""

    loop: TrialLoop
    facts: RuleFacts
    answers: RuleAnswers
    trials: tuple[Trial, ...]


@dataclass(frozen=True)
class StepAnswers:
    """Pressures after a set-point step of 1 and, half way, a load step.

    ``pressures`` has a row a trial, shares of the set-point step; ``load`` is the
    load step, as share of full drive, over the set-point step, as share of range.
    """

    time_s: FloatArray
    pressures: FloatArray
    load: float


def model_loop(model: Model, tick_s: float) -> TrialLoop:
    """Close the loop on a model whose gain is share of range over full drive.

    Raises
    ------
    InputError
        A gain below 0, or a tick that is not above 0.
    """
    if not tick_s > 0.0:
        raise InputError(f"tick: {tick_s:g} s must be above 0 s")
    delayed = model_plant(model, 0.0)
    count = len(delayed.a)
    b, c = np.zeros((count, len(INPUTS))), np.tile(delayed.c, (len(OUTPUTS), 1))
    b[:, INPUTS.index("drive")] = delayed.b
    names = tuple(f"state_{k}" for k in range(count))
    d = np.zeros((len(OUTPUTS), len(INPUTS)))
    plant = LinearPlant(names, delayed.a, b, c, d, error=0.0, notes=())
    channel = Channel(0.0, 1.0, bits=None, delay_s=model.dead_time_s)
    return TrialLoop(plant, channel, LawSettings(tick_s))


def scenario_loop(scenario: Scenario, share: float) -> tuple[TrialLoop, list[str]]:
    """Close the loop on a scenario's plant, linearised at a share of its range.

    Where nothing flows at rest, the filling side is taken.

    Parameters
    ----------
    scenario : Scenario
    share : float
        Operating point, 0 ... 1 of the range.

    Returns
    -------
    tuple of TrialLoop and list of str
        The loop, and what a reader should know of it.

    Raises
    ------
    InputError
        The share is outside the range, or the plant cannot rest there.
    """
    sides = linear_plants(scenario, share)
    _, _, plant = sides[0]
    notes = [LINEAR, *plant.notes]
    if len(sides) > 1:
        notes.insert(1, "filling; venting differs, see 'margins' for both")
    channel, law = scenario.plant.sensing.pressure, scenario.law
    return TrialLoop(plant, channel, law, scenario.compute_delay_ticks), notes


def try_rules(loop: TrialLoop) -> RuleStudy:
    """Ask every rule about a loop, and measure the margins that each gives.

    Filter, computing delay and calibration are the law's; its gains, set-point
    weight and derivative filter are the rule's.

    Parameters
    ----------
    loop : TrialLoop

    Returns
    -------
    RuleStudy
    """
    late = loop.compute_delay_ticks
    facts = facts_of_plant(loop.plant, loop.channel, loop.law, late)
    answers = ask_rules(facts, loop.law.tick_s)
    opened = open_loop(loop.plant, loop.channel, loop.law, late)
    trials = []
    for proposal in answers.proposals:
        law = _with_gains(loop.law, proposal)
        trials.append(Trial(proposal, law, opened.margins(law)))
    return RuleStudy(loop, facts, answers, tuple(trials))


def _with_gains(law: LawSettings, proposal: Proposal) -> LawSettings:
    pid = replace(
        law.pid,
        gains=proposal.gains,
        weight=proposal.setpoint_weight,
        derivative_filter_s=proposal.derivative_filter_s,
    )
    return replace(law, pid=pid)


def step_answers(study: RuleStudy) -> StepAnswers:
    """Run every trial's linear loop through a set-point and a load step.

    Raises
    ------
    InputError
        A dead time of more ticks than the linear loop takes.
    """
    loop, ultimate, tick_s = study.loop, study.facts.ultimate, study.loop.law.tick_s
    half = min(round(PERIODS * ultimate.period_s / tick_s), MOST_TICKS // 2)
    load_step = LOAD * ultimate.gain
    setpoint, load = np.ones(2 * half), np.zeros(2 * half)
    load[half:] = load_step
    pressures = [
        linear_loop(loop.plant, loop.channel, trial.law, loop.compute_delay_ticks).run(
            setpoint, load
        )[0]
        for trial in study.trials
    ]
    time_s = tick_s * np.arange(2 * half, dtype=np.float64)
    return StepAnswers(time_s, np.array(pressures), load_step)
