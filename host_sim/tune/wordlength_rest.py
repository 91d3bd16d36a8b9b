"""A loop left alone: still, in a cycle, or restless.

No noise, no ripple, no changes: what still moves then is the machine's own
hunting or the words' doing. The ideal law, the law, and the law without its
remainders are told apart by running all three.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from host_sim.law.controller import STATE_SLOT
from host_sim.law.reference import FloatController
from host_sim.loop.compiled import run_compiled
from host_sim.loop.loop import run_scenario
from host_sim.loop.native import recorder
from host_sim.loop.record import FloatArray, Run
from host_sim.loop.rig import make_rig
from host_sim.measure.agreement import LSB_PERCENT
from host_sim.plant.layout import LOAD
from host_sim.scenario.load import Scenario
from host_sim.scenario.profile import Profile
from host_sim.tune.wordlength_variants import ideal, quiet

# Odd shares of what the scenario commands: whether a coarse converter has a level
# inside the deadband is a matter of luck. Friction makes the direction matter too.
SHARES = (0.137, 0.591, 0.863, 0.709, 0.317)
INTEGRAL_TIMES = 50.0
"""How long a level is held, in 1/ki."""
FEWEST_TICKS, MOST_TICKS = 1_000, 4_000
"""Bounds on that: what shows a cycle, and what a float run takes in a second or two."""
WATCHED = 0.5
"""Share of a hold, its end, that is watched."""
CROSSINGS = 4
"""So many upward crossings, three whole periods, are a cycle."""
CROSSING_SHARE = 0.25
"""Of half the swing: a crossing is from below minus this to above plus this."""
UNEVEN = 0.5
"""Of the mean period: periods that differ by more are no cycle."""

REMAINDERS = tuple(slot for name, slot in STATE_SLOT.items() if name.endswith("_REST"))


@dataclass(frozen=True)
class Rest:
    """A loop that holds one level after another.

    Parameters
    ----------
    scenario : Scenario
        Quiet, its command a staircase.
    levels : tuple of float
        Set points held, as shares of the range.
    hold_ticks : int
        How long each.
    """

    scenario: Scenario
    levels: tuple[float, ...]
    hold_ticks: int

    @property
    def watched_s(self) -> float:
        """How long each level is watched [s]."""
        return WATCHED * self.hold_ticks * self.scenario.law.tick_s


@dataclass(frozen=True)
class Swing:
    """What a loop does at one level; swings are peak to peak.

    ``error_percent`` is mean pressure minus set point, of the range. ``period_s``
    is that of the pressure, None unless it is a cycle. ``error_trace_percent`` has a
    number a tick.
    """

    level_percent: float
    state: str
    pressure_swing_percent: float
    output_swing_percent: float
    error_percent: float
    period_s: float | None
    error_trace_percent: FloatArray


def make_rest(scenario: Scenario) -> Rest:
    """Prepare a loop to be left alone, among its own set points.

    Parameters
    ----------
    scenario : Scenario

    Returns
    -------
    Rest
    """
    law, command = scenario.law, scenario.law.command
    wanted = [command.setpoint(ma) for ma in scenario.profile.currents_ma]
    low, high = min(wanted), max(wanted)
    levels = tuple(low + share * (high - low) for share in SHARES)
    ki_per_s = law.pid.gains.ki_per_s
    hold_s = INTEGRAL_TIMES / ki_per_s if ki_per_s else 0.0
    ticks = min(max(math.ceil(hold_s / law.tick_s), FEWEST_TICKS), MOST_TICKS)
    shares = [1.0 - level if command.reverse else level for level in levels]
    span_ma = command.end_ma - command.start_ma
    profile = Profile(
        tuple(k * ticks * law.tick_s for k in range(len(levels))),
        tuple(command.start_ma + share * span_ma for share in shares),
    )
    held = replace(
        quiet(scenario),
        profile=profile,
        ticks=len(levels) * ticks,
        duration_s=len(levels) * ticks * law.tick_s,
    )
    return Rest(held, levels, ticks)


def run_whole(scenario: Scenario) -> Run:
    """Run the integer law to the end, compiled.

    One compiled code serves all numbers of bits.

    Raises
    ------
    KeyboardInterrupt
        It was stopped.
    """
    return _whole(run_compiled(scenario), scenario)


def run_ideal(
    scenario: Scenario, each_tick: Callable[[int], None] | None = None
) -> Run:
    """Run the float law on converters without steps.

    Its gains are those wanted, not those kept.

    Parameters
    ----------
    scenario : Scenario
    each_tick : callable, optional
        Called with the number of ticks done.

    Returns
    -------
    Run

    Raises
    ------
    KeyboardInterrupt
        It was stopped.
    """
    law = FloatController(scenario.law)
    done = run_scenario(ideal(scenario), law, each_tick)
    return _whole(done, scenario)


def run_without_remainders(scenario: Scenario) -> Run:
    """Run the integer law, its remainders thrown away every tick.

    `arith.carry` without a remainder to add is plain rounding to nearest.

    Returns
    -------
    Run
        With the columns that `swings` reads.
    """
    rig = make_rig(scenario)
    code = recorder(rig.shape, (STATE_SLOT["OUTPUT"],), (LOAD,))
    given = {
        **rig.arguments(),
        "word_record": np.empty((rig.ticks, 1), dtype=np.int32),
        "view_record": np.empty((rig.ticks, 1)),
        "flow_record": np.empty((rig.ticks, 2)),
    }
    for tick in range(rig.ticks):
        given["words"][REMAINDERS, :] = 0
        code({**given, "first": tick, "ticks": 1})
    columns = {
        "load_pa": given["view_record"][:, 0],
        "output_percent": LSB_PERCENT * given["word_record"][:, 0],
    }
    return Run(rig.tick_s, columns)


def swings(rest: Rest, done: Run) -> tuple[Swing, ...]:
    """Measure the end of every hold of a run.

    Parameters
    ----------
    rest : Rest
    done : Run
        Of its scenario, or of one with other words.

    Returns
    -------
    tuple of Swing
        One for each level.
    """
    low_pa, high_pa = rest.scenario.pressure_range_pa
    pressure = 100.0 * (done.columns["load_pa"] - low_pa) / (high_pa - low_pa)
    output = done.columns["output_percent"]
    edges = np.arange(len(rest.levels) + 1) * rest.hold_ticks
    unwatched = round((1.0 - WATCHED) * rest.hold_ticks)
    return tuple(
        measure_swing(
            level,
            pressure[start + unwatched : end] - 100.0 * level,
            output[start + unwatched : end],
            done.tick_s,
        )
        for level, (start, end) in zip(rest.levels, pairwise(edges), strict=True)
    )


def measure_swing(
    level: float, error_percent: FloatArray, output_percent: FloatArray, tick_s: float
) -> Swing:
    """Judge one hold: still, in a cycle, or restless without a period.

    Still is an output that moves by less than one of the board's units, whatever
    the pressure does between the valve's seats. A cycle is a pressure that goes
    round at least three times, evenly, to the end.

    Parameters
    ----------
    level : float
        Set point, as a share of the range.
    error_percent, output_percent : ndarray, shape (n,)
        Pressure minus set point, of the range; output, of full drive.
    tick_s : float

    Returns
    -------
    Swing

    >>> time_s = np.arange(1_000) * 0.01
    >>> found = measure_swing(0.5, np.sin(time_s * 6.0), np.cos(time_s * 6.0), 0.01)
    >>> found.state, found.period_s, found.pressure_swing_percent
    ('cycle', 1.047, 2.00)
    """
    output_swing = float(np.ptp(output_percent))
    period_s = _period_s(error_percent, tick_s)
    # Half a unit is above the noise of adding float percents.
    if output_swing < LSB_PERCENT / 2:
        state, period_s = "still", None
    else:
        state = "restless" if period_s is None else "cycle"
    return Swing(
        level_percent=100.0 * level,
        state=state,
        pressure_swing_percent=float(np.ptp(error_percent)),
        output_swing_percent=output_swing,
        error_percent=float(error_percent.mean()),
        period_s=period_s,
        error_trace_percent=error_percent,
    )


def _period_s(signal: FloatArray, tick_s: float) -> float | None:
    """Find the mean time between even upward crossings, if any."""
    middle = 0.5 * float(signal.max() + signal.min())
    edge = CROSSING_SHARE * 0.5 * float(np.ptp(signal))
    side = np.where(signal > middle + edge, 1, np.where(signal < middle - edge, -1, 0))
    decided = np.flatnonzero(side)
    turned = np.flatnonzero(np.diff(side[decided]) > 0)
    if turned.size < CROSSINGS:
        return None
    rises = decided[turned + 1]
    periods = np.diff(rises)
    mean = float(periods.mean())
    stopped = signal.size - rises[-1] > (1.0 + UNEVEN) * mean
    if stopped or np.ptp(periods) > UNEVEN * mean:
        return None
    return mean * tick_s


def _whole(done: Run, scenario: Scenario) -> Run:
    if done.ticks < scenario.ticks:
        raise KeyboardInterrupt
    return done
