"""An identified model as tuning takes it: a loop, the rules' plant, and doubts."""

from dataclasses import dataclass, replace

from host_sim.errors import InputError
from host_sim.measure.frequency import open_loop
from host_sim.measure.margin_study import linear_plants
from host_sim.scenario.load import Scenario
from host_sim.tune.corners import SmallLoop
from host_sim.tune.models_file import ModelFile
from host_sim.tune.rules_facts import (
    RuleFacts,
    facts_of_model,
    facts_of_plant,
    loop_delay_s,
)
from host_sim.tune.rules_trial import model_loop

DRIVE = "1"
"""Input unit of a model whose input is the drive."""
USE = (
    "{}: the rules were asked about its model, and Ms counts on it too; settling, "
    "overshoot and travel are those of the scenario's family"
)
AGREEMENT = 1.25
"""Factor between ultimate gains up to which scenario and record agree."""


@dataclass(frozen=True)
class Identified:
    """A recorded plant in the loop of a scenario's law."""

    loop: SmallLoop
    facts: RuleFacts
    notes: tuple[str, ...]


def identified(scenario: Scenario, held: ModelFile) -> Identified:
    """Close a scenario's loop on the plant that a record shows.

    Parameters
    ----------
    scenario : Scenario
        Its law, and its plant to compare the model with.
    held : ModelFile
        A model from drive to pressure.

    Returns
    -------
    Identified

    Raises
    ------
    InputError
        A model whose input is no drive, or whose pressure falls with the drive.
    """
    if held.input_unit != DRIVE:
        raise InputError(
            f"{held.record}: its input {held.input!r} is in {held.input_unit}, so the "
            "model is of a closed loop; record the drive and identify again"
        )
    low_pa, high_pa = scenario.pressure_range_pa
    law, late = scenario.law, scenario.compute_delay_ticks
    model = replace(held.model, gain=held.model.gain / (high_pa - low_pa))
    try:
        facts = facts_of_model(model, law.tick_s, loop_delay_s(law, late))
    except InputError as reason:
        raise InputError(f"{held.record}: {reason}") from None
    trial = model_loop(model, law.tick_s)
    loop = open_loop(trial.plant, trial.channel, trial.law, late)
    return Identified(
        loop=SmallLoop(f"the identified model of {held.record}", loop),
        facts=facts,
        notes=(USE.format(held.record), *_doubts(scenario, held, facts)),
    )


def _doubts(scenario: Scenario, held: ModelFile, facts: RuleFacts) -> list[str]:
    """Compare the gains that model and scenario's plant bear, where it was recorded."""
    low_pa, high_pa = scenario.pressure_range_pa
    middle_pa = sum(held.pressure_range_pa) / 2.0
    share = (middle_pa - low_pa) / (high_pa - low_pa)
    channel, late = scenario.plant.sensing.pressure, scenario.compute_delay_ticks
    try:
        recorded = facts.ultimate.gain
        sides = linear_plants(scenario, share)
        bears = min(
            facts_of_plant(plant, channel, scenario.law, late).ultimate.gain
            for _, _, plant in sides
        )
    except InputError as reason:
        return [f"{held.record}: not compared with the scenario's plant: {reason}"]
    if 1.0 / AGREEMENT <= recorded / bears <= AGREEMENT:
        return []
    return [
        f"{held.record}: the recorded plant bears {recorded / bears:.2g} times the "
        "gain that the scenario's does, on which the family is built; mend volume, "
        "conductances, lags or delay of the scenario, as 'identify --scenario' finds "
        "them"
    ]
