"""Which engine runs a scenario: plain Python, or compiled."""

import os
from collections.abc import Callable
from typing import Literal

from host_sim.errors import InputError
from host_sim.loop.compiled import run_compiled
from host_sim.loop.loop import run_scenario
from host_sim.loop.record import COLUMNS, Run
from host_sim.plant.plant import Plant
from host_sim.scenario.load import Scenario

Engine = Literal["auto", "plain", "compiled"]
ENGINES: tuple[Engine, ...] = ("auto", "plain", "compiled")

WORTH_COMPILING_STEPS = 5_000
"""Substeps of the plant that plain Python takes as long for as compiling takes."""

BYTES_PER_TICK = 3 * 8 * len(COLUMNS)
"""A run's columns, the records that they are taken from, and inputs and noise."""


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

    Raises
    ------
    InputError
        The record would not fit into the memory, or the plant left the physical
        range.

    >>> from host_sim.scenario.load import load_scenario, shipped_scenario_path
    >>> run(load_scenario(shipped_scenario_path()), "compiled").ticks
    1200
    """
    check_memory(scenario.ticks)
    if pick(scenario, engine) == "compiled":
        return run_compiled(scenario, each_tick)
    return run_scenario(scenario, each_tick=each_tick)


def pick(scenario: Scenario, engine: Engine) -> Engine:
    """Choose for a scenario where "auto" leaves the choice."""
    if engine != "auto":
        return engine
    steps = scenario.ticks * Plant(scenario.plant, scenario.law.tick_s).substeps
    return "compiled" if steps >= WORTH_COMPILING_STEPS else "plain"


def check_memory(ticks: int) -> None:
    """Refuse a run whose record this machine's memory cannot hold.

    Raises
    ------
    InputError
    """
    if not hasattr(os, "sysconf"):
        return
    needed = ticks * BYTES_PER_TICK
    there = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES")
    if needed > there:
        raise InputError(
            f"run.duration: {ticks} ticks need {needed / 1e9:.3g} GB for their record, "
            f"this machine has {there / 1e9:.3g} GB; shorten the run or lengthen "
            "run.tick"
        )
