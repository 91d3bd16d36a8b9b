"""Which engine runs a scenario: plain Python, or compiled."""

from collections.abc import Callable
from typing import Literal

from host_sim.loop.compiled import run_compiled
from host_sim.loop.loop import run_scenario
from host_sim.loop.record import Run
from host_sim.plant.plant import Plant
from host_sim.scenario.load import Scenario

Engine = Literal["auto", "plain", "compiled"]
ENGINES: tuple[Engine, ...] = ("auto", "plain", "compiled")

WORTH_COMPILING_STEPS = 5_000
"""Substeps of the plant that plain Python takes as long for as compiling takes."""


def run(
    scenario: Scenario,
    engine: Engine = "auto",
    each_tick: Callable[[int], None] | None = None,
) -> Run:
    """Run a scenario; both engines give the same run, bit for bit.

    Parameters
    ----------
    scenario : Scenario
    engine : str
        ``"auto"``: plain Python where that takes no longer than compiling.
    each_tick : callable, optional
        Called with the number of ticks done, now and then.

    Returns
    -------
    Run
        Shorter when interrupted.

    >>> from host_sim.scenario.load import load_scenario, shipped_scenario_path
    >>> run(load_scenario(shipped_scenario_path()), "compiled").ticks
    1200
    """
    if engine == "auto":
        steps = scenario.ticks * Plant(scenario.plant, scenario.law.tick_s).substeps
        engine = "compiled" if steps >= WORTH_COMPILING_STEPS else "plain"
    if engine == "compiled":
        return run_compiled(scenario, each_tick)
    return run_scenario(scenario, each_tick=each_tick)
