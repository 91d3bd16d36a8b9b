"""One acceptance sequence by its name, for a test."""

from host_sim.accept.model_rig import ModelRig, stated_range
from host_sim.accept.plan import plan
from host_sim.accept.run import run_sequence
from host_sim.errors import InputError
from host_sim.loop.record import Law
from host_sim.scenario.load import Scenario


def figures_of(scenario: Scenario, device: Law, name: str) -> dict[str, float | None]:
    """Run one acceptance sequence and give its figures.

    Parameters
    ----------
    scenario : Scenario
    device : Law
    name : str
        Of the sequence.

    Returns
    -------
    dict
        Figure by name, in the units of `host_sim.accept.figures`; None: not measured.

    Raises
    ------
    InputError
        No sequence of that name.
    """
    sequences = {sequence.name: sequence for sequence in plan(scenario)}
    if name not in sequences:
        raise InputError(f"sequence: {name!r}; there are {', '.join(sequences)}")
    rig = ModelRig(scenario, lambda: device)
    done = run_sequence(sequences[name], rig, stated_range(scenario))
    return {figure.name: figure.measured for figure in done.figures}
