"""The loop at rest: whether the output stands still, and what the reading does."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from host_sim.law.settings import LawSettings, ProportionalDrive
from host_sim.loop.batch import Watched, Window, run_batch
from host_sim.loop.rig import FloatArray, Rig, make_rig
from host_sim.loop.watch import REVERSALS
from host_sim.measure.watched import watch_steps
from host_sim.scenario.load import Scenario
from host_sim.scenario.profile import Profile
from host_sim.tune.corners import LEVELS, share_between
from host_sim.tune.family import Member, make_corners
from host_sim.tune.trials import kept_words
from host_sim.tune.wordlength_variants import quiet

WATCHED = 2
"""Lengths of the command's longest step that a loop at rest is watched, after one
to settle in."""
MOST_REVERSALS = 3
"""More of them while the output is watched are hunting."""
SIGMAS = 3.0


@dataclass(frozen=True)
class Resting:
    """A machine left alone at a set point, ready to be run."""

    name: str
    rig: Rig
    window: Window


def make_resting(scenario: Scenario) -> list[Resting]:
    """Prepare the corners of a family, each left alone at several set points.

    Noise and ripple are off, and so are pulses and dither: what still moves the
    output is hunting. The corners have the most hysteresis.

    Parameters
    ----------
    scenario : Scenario

    Returns
    -------
    list of Resting

    Raises
    ------
    InputError
        A command without a step.
    """
    step_ticks = max(
        window.ticks for window in watch_steps(scenario, make_rig(scenario)).windows
    )
    return [
        _resting(member, share_between(scenario, level), step_ticks)
        for member in make_corners(scenario)
        for level in LEVELS
    ]


def _resting(member: Member, share: float, step_ticks: int) -> Resting:
    scenario = quiet(member.scenario)
    law = replace(scenario.law, drive=ProportionalDrive())
    command = law.command
    asked = 1.0 - share if command.reverse else share
    current_ma = command.start_ma + asked * (command.end_ma - command.start_ma)
    ticks = (1 + WATCHED) * step_ticks
    still = replace(
        scenario,
        law=law,
        profile=Profile((0.0,), (current_ma,)),
        ticks=ticks,
        duration_s=ticks * law.tick_s,
    )
    low_pa, high_pa = scenario.pressure_range_pa
    watched = WATCHED * step_ticks
    window = Window(step_ticks, watched, low_pa, high_pa, scenario.settle_band)
    name = f"{member.in_words()}, at {100.0 * share:.0f} %"
    return Resting(name, make_rig(still), window)


def count_reversals(
    laws: Sequence[LawSettings], resting: Sequence[Resting]
) -> FloatArray:
    """Count how often the output turns at rest under each law.

    Parameters
    ----------
    laws : sequence of LawSettings
    resting : sequence of Resting

    Returns
    -------
    ndarray, shape (laws, resting)
        Reversals as of `measure_output`; infinite for a law that the board cannot
        keep.
    """
    counts = np.full((len(laws), len(resting)), np.inf)
    blocks = [kept_words(replace(law, drive=ProportionalDrive())) for law in laws]
    kept = [place for place, block in enumerate(blocks) if block is not None]
    found = run_batch(
        Watched(each.rig.under(block), (each.window,))
        for block in blocks
        if block is not None
        for each in resting
    )
    for place in kept:
        counts[place] = [next(found)[0, REVERSALS] for _ in resting]
    return counts


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
