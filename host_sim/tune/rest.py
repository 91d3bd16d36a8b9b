"""The loop at rest: whether the output stands still, and with what deadband."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from host_sim.law.block import FULL
from host_sim.law.settings import LawSettings
from host_sim.loop.batch import Watched, Window, run_batch
from host_sim.loop.rig import make_rig
from host_sim.loop.watch import REVERSALS
from host_sim.scenario.load import Scenario
from host_sim.scenario.profile import Profile
from host_sim.tune.corners import LEVELS, share_between
from host_sim.tune.family import Member

SETTLE_S, WATCH_S = 10.0, 10.0
REST_TICKS = 1000
"""At least so many ticks each to settle and to watch, however long a tick is."""
SWINGS = 4
"""So many reversals of the output while it is watched are hunting."""
WIDEST = 0.5
"""Of the settle band: a wider deadband would settle outside it."""
HYSTERESIS = 0.5
"""Of the deadband, to act again."""
SIGMAS = 3.0


@dataclass(frozen=True)
class Rest:
    """How a law did at rest: the most reversals, on which machine, at which share."""

    reversals: int
    member: Member
    share: float

    @property
    def hunts(self) -> bool:
        """Whether the output swung on and on."""
        return self.reversals >= SWINGS


@dataclass(frozen=True)
class Deadband:
    """The deadband chosen, the smallest without hunting of those tried [share].

    ``seen`` is what noise and converter move the reading by; ``tried`` has each
    width with what it did, the chosen one last.
    """

    seen: float
    tried: tuple[tuple[float, Rest], ...]

    @property
    def width(self) -> float:
        """The deadband chosen."""
        return self.tried[-1][0]

    @property
    def rest(self) -> Rest:
        """What it does at rest."""
        return self.tried[-1][1]


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


def widths(scenario: Scenario) -> list[float]:
    """List the deadbands to try: none, then doubled from what is seen.

    The last is `WIDEST` of the settle band. All are whole signal units.
    """
    widest = max(math.floor(WIDEST * scenario.settle_band * FULL), 1)
    units, width = [0], math.ceil(smallest_seen(scenario) * FULL)
    while width < widest:
        units.append(width)
        width *= 2
    return [unit / FULL for unit in (*units, widest)]


def with_deadband(law: LawSettings, width: float) -> LawSettings:
    """Give a law a deadband, and half as much to act again."""
    beyond = math.floor(HYSTERESIS * width * FULL) / FULL
    pid = replace(law.pid, deadband=width, deadband_hysteresis=beyond)
    return replace(law, pid=pid)


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
    settle = max(round(SETTLE_S / law.tick_s), REST_TICKS)
    watch = max(round(WATCH_S / law.tick_s), REST_TICKS)
    shares = [share_between(members[0].scenario, level) for level in LEVELS]
    cases = [(member, share) for member in members for share in shares]
    loops = [_resting(member, law, share, settle, watch) for member, share in cases]
    found = [
        Rest(int(marks[0, REVERSALS]), member, share)
        for (member, share), marks in zip(cases, run_batch(loops), strict=True)
    ]
    return max(found, key=lambda rest: rest.reversals)


def _resting(
    member: Member, law: LawSettings, share: float, settle: int, watch: int
) -> Watched:
    scenario, command = member.scenario, law.command
    asked = 1.0 - share if command.reverse else share
    current_ma = command.start_ma + asked * (command.end_ma - command.start_ma)
    ticks = settle + watch
    still = replace(
        scenario,
        law=law,
        profile=Profile((0.0,), (current_ma,)),
        ticks=ticks,
        duration_s=ticks * law.tick_s,
    )
    low_pa, high_pa = scenario.pressure_range_pa
    window = Window(settle, watch, low_pa, high_pa, scenario.settle_band)
    return Watched(make_rig(still), (window,))


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
        The widest tried where all hunt.
    """
    tried: list[tuple[float, Rest]] = []
    for width in widths(scenario):
        tried.append((width, watch_rest(members, with_deadband(law, width))))
        if not tried[-1][1].hunts:
            break
    return Deadband(smallest_seen(scenario), tuple(tried))
