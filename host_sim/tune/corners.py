"""The small movements of a family's loops: Ms at its corners, rules' plants."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from host_sim.errors import InputError
from host_sim.law.quantise import quantise
from host_sim.law.read_back import read_back
from host_sim.law.settings import LawSettings
from host_sim.measure.answer import find_steps
from host_sim.measure.frequency import OpenLoop, open_loop
from host_sim.measure.margin_study import linear_plants
from host_sim.plant.linear import LinearPlant
from host_sim.scenario.load import Scenario
from host_sim.tune.family import Member, make_corners, own_machine
from host_sim.tune.rules_facts import RuleFacts, facts_of_plant

LEVELS = (0.25, 0.5, 1.0)
"""Between the lowest and the highest set point: where the loops are linearised."""
MIDDLE = 0.5
"""Likewise: the plant that the rules are asked about."""


@dataclass(frozen=True)
class SmallLoop:
    """A loop without its gains, linear about one level of one machine."""

    name: str
    loop: OpenLoop


def worst_ms(loops: Sequence[SmallLoop], law: LawSettings) -> tuple[float, str]:
    """Find the largest Ms of a law as the board keeps it, and its loop.

    Returns
    -------
    tuple of float and str
        Infinite where a loop is unstable or the board cannot keep the law.
    """
    try:
        kept = read_back(quantise(law))
    except InputError as refusal:
        return math.inf, str(refusal)
    found = []
    for small in loops:
        is_stable, ms, _ = small.loop.judge(kept)
        found.append((ms if is_stable else math.inf, small.name))
    return max(found)


def small_loops(scenario: Scenario) -> list[SmallLoop]:
    """Linearise the corners of a family at several levels, and the machine itself.

    Parameters
    ----------
    scenario : Scenario

    Returns
    -------
    list of SmallLoop

    Raises
    ------
    InputError
        A machine that cannot hold a set point at its supply, or a command without
        a step.
    """
    channel, late = scenario.plant.sensing.pressure, scenario.compute_delay_ticks
    return [
        SmallLoop(name, open_loop(plant, channel, scenario.law, late))
        for member in (own_machine(scenario), *make_corners(scenario))
        for level in LEVELS
        for name, plant in _plants(member, level)
    ]


def rule_facts(scenario: Scenario) -> list[tuple[str, RuleFacts]]:
    """Prepare what the rules are asked about: each side of the machine itself.

    Returns
    -------
    list of tuple of str and RuleFacts
        With the side's name; it is "" where filling and venting are alike.
    """
    channel, late = scenario.plant.sensing.pressure, scenario.compute_delay_ticks
    share = share_between(scenario, MIDDLE)
    return [
        (
            "" if side == "both" else str(side),
            facts_of_plant(plant, channel, scenario.law, late),
        )
        for side, _, plant in linear_plants(scenario, share)
    ]


def share_between(scenario: Scenario, level: float) -> float:
    """Turn a level between the extreme set points into a share of the range.

    Raises
    ------
    InputError
        The command has no step.
    """
    low_pa, high_pa = scenario.pressure_range_pa
    steps, _ = find_steps(scenario, scenario.ticks)
    if not steps:
        raise InputError(
            "profile: no step of 1 % that lasts 10 ticks to tune for; give the "
            "command one"
        )
    levels_pa = [pa for _, from_pa, to_pa in steps for pa in (from_pa, to_pa)]
    lowest_pa, highest_pa = min(levels_pa), max(levels_pa)
    chosen_pa = lowest_pa + level * (highest_pa - lowest_pa)
    return (chosen_pa - low_pa) / (high_pa - low_pa)


def _plants(member: Member, level: float) -> Iterator[tuple[str, LinearPlant]]:
    scenario = member.scenario
    share = share_between(scenario, level)
    try:
        found = linear_plants(scenario, share)
    except InputError as reason:
        low_pa, high_pa = scenario.pressure_range_pa
        pressure_pa = low_pa + share * (high_pa - low_pa)
        raise InputError(
            f"family: {member.in_words()} cannot hold {pressure_pa / 1e5:.4g} bar "
            f"absolute, as its set points ask ({reason}); narrow family.supply, raise "
            "the supply, or lower the set point"
        ) from None
    for side, _, plant in found:
        words = "" if side == "both" else f", {side}"
        yield f"{member.in_words()}, at {100.0 * share:.0f} %{words}", plant
