"""The loop at rest: whether the output stands still, and with what deadband."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from host_sim.law.settings import LawSettings
from host_sim.loop.compiled import run_compiled
from host_sim.measure.effort import measure_output
from host_sim.scenario.load import Scenario
from host_sim.scenario.profile import Profile
from host_sim.tune.family import Member

LEVELS = (0.25, 0.5, 0.75)
"""Set points at which the loop is left alone."""
SETTLE_S, WATCH_S = 10.0, 10.0
REST_TICKS = 1000
"""At least so many ticks each to settle and to watch, however long a tick is."""
SWINGS = 4
"""So many reversals of the output while it is watched are hunting."""
STEPS = (0.0, 1.0, 2.0, 4.0, 8.0)
"""Deadbands tried, in `smallest_seen`."""
WIDEST = 0.5
"""Of the settle band: a wider deadband would settle outside it."""
HYSTERESIS = 0.5
"""Of the deadband, to act again."""
SIGMAS = 3.0


@dataclass(frozen=True)
class Rest:
    """How a law did at rest: the most reversals, and on which machine and level."""

    reversals: int
    member: Member
    level: float

    @property
    def hunts(self) -> bool:
        """Whether the output swung on and on."""
        return self.reversals >= SWINGS


@dataclass(frozen=True)
class Deadband:
    """The deadband chosen, the smallest without hunting of those tried [share].

    ``tried`` has each with what it did; ``quiet`` is false where all hunted.
    """

    width: float
    smallest_seen: float
    tried: tuple[tuple[float, Rest], ...]

    @property
    def quiet(self) -> bool:
        """Whether the output comes to rest with it."""
        return not self.tried[-1][1].hunts


def smallest_seen(scenario: Scenario) -> float:
    """Find the change of pressure that is more than noise, as a share of range.

    ``max(3 sigma sqrt(a / (2 - a)), one step of the converter)`` with ``a =
    h / (tf + h)`` of the law's filter.

    Parameters
    ----------
    scenario : Scenario

    Returns
    -------
    float

    Notes
    -----
    Source: variance of a first-order filter under white noise, any book on
    signal processing; three sigma is common practice.
    """
    channel, law = scenario.plant.sensing.pressure, scenario.law
    low_pa, high_pa = scenario.pressure_range_pa
    share = law.tick_s / (law.measurement.filter_s + law.tick_s)
    noise_pa = SIGMAS * channel.noise * math.sqrt(share / (2.0 - share))
    # Without bits the law itself still counts to 15.
    step_pa = (channel.high - channel.low) / ((1 << (channel.bits or 15)) - 1)
    return max(noise_pa, step_pa) / (high_pa - low_pa)


def watch_rest(members: Sequence[Member], law: LawSettings) -> Rest:
    """Leave a law alone at several levels on several machines.

    Parameters
    ----------
    members : sequence of Member
    law : LawSettings

    Returns
    -------
    Rest
        The worst case; reversals are those of `measure_output`.
    """
    half = max(round(SETTLE_S / law.tick_s), REST_TICKS)
    watch = max(round(WATCH_S / law.tick_s), REST_TICKS)
    found = []
    for member in members:
        for level in LEVELS:
            run = run_compiled(_resting(member.scenario, law, level, half + watch))
            drive = run.columns["drive_percent"][half:] / 100.0
            found.append(Rest(measure_output(drive).reversals, member, level))
    return max(found, key=lambda rest: rest.reversals)


def _resting(
    scenario: Scenario, law: LawSettings, level: float, ticks: int
) -> Scenario:
    command = law.command
    share = 1.0 - level if command.reverse else level
    current_ma = command.start_ma + share * (command.end_ma - command.start_ma)
    return replace(
        scenario,
        law=law,
        profile=Profile((0.0,), (current_ma,)),
        ticks=ticks,
        duration_s=ticks * law.tick_s,
    )


def with_deadband(law: LawSettings, width: float) -> LawSettings:
    """Give a law a deadband, and half as much to act again."""
    pid = replace(law.pid, deadband=width, deadband_hysteresis=HYSTERESIS * width)
    return replace(law, pid=pid)


def choose_deadband(
    scenario: Scenario, members: Sequence[Member], law: LawSettings
) -> Deadband:
    """Find the smallest deadband with which the output comes to rest.

    Parameters
    ----------
    scenario : Scenario
    members : sequence of Member
        Machines to try it on.
    law : LawSettings

    Returns
    -------
    Deadband
    """
    seen = smallest_seen(scenario)
    tried: list[tuple[float, Rest]] = []
    for step in STEPS:
        width = min(step * seen, WIDEST * scenario.settle_band)
        if tried and width == tried[-1][0]:
            break
        tried.append((width, watch_rest(members, with_deadband(law, width))))
        if not tried[-1][1].hunts:
            break
    return Deadband(tried[-1][0], seen, tuple(tried))
