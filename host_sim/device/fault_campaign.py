"""Every fault in the closed loop: found how soon, answered how, ended how.

One run a fault and moment: the machine settles at a low set point, steps to a high
one, and somewhere there a cause begins, lasts until well after it must have been
found, and goes. Only what the table states is judged.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from firmware_model.device.faults import (
    FAULTS,
    LABEL,
    STOPS,
    TICKS_WORD,
    WAITS,
    bits_of,
)
from firmware_model.law.layout import COUNTS, FULL, SIGNAL
from host_sim.device.device_block import DeviceBlock, device_block
from host_sim.device.failing import (
    Cause,
    FailingPilot,
    above_range,
    causes,
    without_supply,
)
from host_sim.device.supervised import SupervisedController, labels
from host_sim.law.block import Q14
from host_sim.loop.loop import Loop
from host_sim.scenario.load import Scenario
from host_sim.scenario.profile import Profile, currents_ma

LOW, HIGH = 0.3, 0.8
"""Set points before and after the step, shares of the range."""
SETTLE_S, AFTER_S = 6.0, 3.0
"""Time before the step, and from the fault's stated time until its cause goes."""

IntArray = npt.NDArray[np.int64]
FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Moment:
    """When a cause begins, against the step, and who commands the output then."""

    name: str
    offset_s: float
    mode: str = "automatic"


MOMENTS = (
    Moment("at rest", -2.0),
    Moment("saturated", 0.05),
    Moment("mid-step", 0.4),
    Moment("in manual", -2.0, "manual"),
)
RUNNING, STOPPED, FAULT = 1, 2, 3
STUCK = ("SENSOR STUCK", "OUTPUT STUCK")
WORDS = ("HELD", "PRESENT", "CONDITION", "ACTIVE")


@dataclass(frozen=True)
class Traces:
    """A run of the campaign, one number a tick; shares of range and full output."""

    tick_s: float
    pressure: FloatArray
    setpoint: FloatArray
    seen: FloatArray
    supply: FloatArray
    output: FloatArray
    held: IntArray
    present: IntArray
    condition: IntArray
    active: IntArray


@dataclass(frozen=True)
class FaultRun:
    """What one cause did to one machine.

    Ticks count from the tick at which the cause can be seen: at once, or for what
    shows in pressure or supply, from the tick at which these are beyond their bound.
    ``None``: it did not happen. ``excursion`` is the furthest that the load's pressure
    went from where it was when the cause began, until the fault was over, as a share
    of the range. ``before`` names a stopping fault that was found first, ``unwatched``
    why this one cannot be found on this machine at this moment; "" where it can.
    """

    label: str
    moment: str
    stops: bool
    stated_ticks: int
    found_ticks: int | None
    safe_ticks: int | None
    recovered_ticks: int | None
    excursion: float
    before: str
    unwatched: str
    first: int
    last: int
    traces: Traces

    @property
    def as_stated(self) -> bool:
        """Whether it was found in its ticks, answered at once, and ended as stated."""
        if self.unwatched:
            return self.found_ticks is None
        found, safe = self.found_ticks, self.safe_ticks
        in_time = found is not None and found <= self.stated_ticks
        answered = safe is not None and safe <= 1
        ended = self.recovered_ticks is not None
        return (in_time or bool(self.before)) and answered and ended


Make = Callable[[DeviceBlock], SupervisedController]


def stated_ticks(row: int, block: DeviceBlock) -> int:
    """Give the ticks in which a fault of the table must be found.

    >>> stated_ticks(0, DeviceBlock(tick_s=0.01))
    400
    """
    word = str(FAULTS[row][TICKS_WORD])
    return block[word] if word else 2 * len(block.words)


def run_campaign(
    scenario: Scenario,
    progress: Callable[[str, float], None],
    make: Make = SupervisedController,
) -> list[FaultRun]:
    """Let everything fail at every moment.

    Parameters
    ----------
    scenario : Scenario
    progress : callable
        Called with what is done now and the share done in all.
    make : callable
        As `run_fault`.

    Returns
    -------
    list of FaultRun
        Moment by moment.
    """
    labels_ = [str(fault[LABEL]) for fault in FAULTS]
    pairs = [(moment, label) for moment in MOMENTS for label in labels_]
    runs = []
    for done, (moment, label) in enumerate(pairs):
        progress(f"{label}, {moment.name}", done / len(pairs))
        runs.append(run_fault(scenario, label, moment, make))
    return runs


def run_as_dict(run: FaultRun) -> dict[str, Any]:
    """Tell a run with units in the keys, without its traces."""
    tick_s = run.traces.tick_s
    seconds = {
        "stated_s": run.stated_ticks,
        "found_s": run.found_ticks,
        "safe_after_s": run.safe_ticks,
        "ended_after_s": run.recovered_ticks,
    }
    return {
        "fault": run.label,
        "moment": run.moment,
        **{
            key: None if ticks is None else ticks * tick_s
            for key, ticks in seconds.items()
        },
        "excursion_percent": 100 * run.excursion,
        "found_before": run.before,
        "unwatched": run.unwatched,
        "as_stated": run.as_stated,
    }


def run_fault(
    scenario: Scenario, label: str, moment: Moment, make: Make = SupervisedController
) -> FaultRun:
    """Let one thing fail in the closed loop of a scenario's machine.

    Parameters
    ----------
    scenario : Scenario
        Its machine, law and supervisor; the command is the campaign's own.
    label : str
        Of `faults.FAULTS`.
    moment : Moment
    make : callable
        Makes the device from its block.

    Returns
    -------
    FaultRun
    """
    trial = _Trial(scenario, label, moment)
    return trial.judge(trial.run(make))


def judge_traces(
    scenario: Scenario, label: str, moment: str, traces: Traces
) -> FaultRun:
    """Judge a run of the campaign from what was recorded of it."""
    moments = {each.name: each for each in MOMENTS}
    return _Trial(scenario, label, moments[moment]).judge(traces)


class _Trial:
    def __init__(self, scenario: Scenario, label: str, moment: Moment) -> None:
        self.label, self.moment = label, moment
        self.row = [fault[LABEL] for fault in FAULTS].index(label)
        self.block = device_block(scenario)
        self.cause: Cause = causes(scenario)[label]
        tick_s = scenario.law.tick_s
        after = round(AFTER_S / tick_s)
        self.stated = stated_ticks(self.row, self.block)
        step = round(SETTLE_S / tick_s)
        self.first = step + round(moment.offset_s / tick_s)
        self.last = max(self.first, step) + self.stated + after
        self.confirm = self.last + after + self.stated
        self.ticks = self.confirm + 2 * after + self.block["CLEAR_TICKS"]
        self.scenario = replace(scenario, profile=_command(scenario), ticks=self.ticks)
        if self.cause.supply_goes:
            first_s, last_s = self.first * tick_s, self.last * tick_s
            self.scenario = without_supply(self.scenario, first_s, last_s)

    def run(self, make: Make) -> Traces:
        scenario, law = self.scenario, make(self.block)
        pilot = FailingPilot(law, self.cause, self.first, self.last)
        loop = Loop.of(scenario, pilot)
        tick_s = scenario.law.tick_s
        low_pa, high_pa = scenario.pressure_range_pa
        numbers, words = [], []
        for k, current_ma in enumerate(
            currents_ma(scenario.profile, tick_s, self.ticks)
        ):
            if k == self.first - 1:
                law.mode = self.moment.mode
            if k == self.confirm:
                law.confirm()
            load_pa = loop.plant.pressures_pa().load
            loop.step(current_ma)
            pressure = (load_pa - low_pa) / (high_pa - low_pa)
            numbers.append(
                (pressure, law.setpoint, law.pressure, law.supply, law.output)
            )
            words.append([law.word(name) for name in WORDS])
        columns = np.array(numbers, dtype=np.float64).T
        return Traces(tick_s, *columns, *np.array(words, dtype=np.int64).T)

    def judge(self, traces: Traces) -> FaultRun:
        bit = 1 << self.row
        seen = (traces.present & bit) > 0
        found = _first(seen, self.first)
        others = int(np.bitwise_or.reduce(traces.present[self.first : found])) & ~bit
        others &= bits_of(STOPS)
        answered = (traces.condition == STOPPED) & (traces.active == FAULT)
        if not FAULTS[self.row][STOPS]:
            answered = seen
        safe = _first(answered, self.first)
        gone = self.confirm if (others | bit) & bits_of(WAITS) else self.last
        over = (traces.held == 0) & (traces.condition == RUNNING)
        recovered = _first(over, gone)
        moved = np.abs(traces.pressure - traces.pressure[self.first])
        came = found if not others else _first(traces.present & others > 0, self.first)
        return FaultRun(
            label=self.label,
            moment=self.moment.name,
            stops=bool(FAULTS[self.row][STOPS]),
            stated_ticks=self.stated,
            found_ticks=None
            if found is None
            else found + 1 - self._visible(traces, found),
            safe_ticks=None if safe is None or came is None else safe - came,
            recovered_ticks=None if recovered is None else recovered - gone,
            excursion=float(moved[self.first : recovered].max()),
            before=", ".join(labels(others)),
            unwatched=self._unwatched(traces),
            first=self.first,
            last=self.last,
            traces=traces,
        )

    def _visible(self, traces: Traces, found: int) -> int:
        """Find the first tick at which the cause could be seen without a break."""
        hidden = np.zeros(len(traces.seen), dtype=bool)
        if self.label in STUCK:
            hidden = ~self._apart(traces)
        elif self.label == "SUPPLY LOST":
            hidden = traces.supply * Q14 >= self.block["SUPPLY_LOST"]
        elif self.label == "PRESSURE HIGH":
            hidden = traces.seen < SIGNAL[1] / FULL
        if self.label == "SENSOR STUCK":
            # Its first reading has come from movement.
            hidden[self.first] = True
        before = np.flatnonzero(hidden[: found + 1])
        return max(self.first, int(before[-1]) + 1 if len(before) else 0)

    def _apart(self, traces: Traces) -> npt.NDArray[np.bool_]:
        error = np.abs(traces.setpoint - traces.seen) * FULL
        return error > self.block["APART"]

    def _unwatched(self, traces: Traces) -> str:
        block, high = self.block, above_range(self.scenario)
        reasons = {
            "SENSOR OPEN": (block["PRESSURE_LOW"] < 0, "no measurement.valid_low"),
            "SENSOR SHORT": (
                block["PRESSURE_HIGH"] > COUNTS[1],
                "no measurement.valid_high",
            ),
            "PRESSURE HIGH": (
                high >= min(block["PRESSURE_HIGH"], COUNTS[1]),
                "110 % is beyond what the sensor may read",
            ),
            "SUPPLY SENSOR": (
                block["SUPPLY_LOW"] < 0,
                "no supply_compensation.valid_low",
            ),
            "SUPPLY LOST": (
                block["SUPPLY_LOST"] == 0,
                "no supply_compensation.lost",
            ),
        }
        flips = self.cause.flips and not (traces.present & 1 << self.row).any()
        if flips and not (traces.held & 1 << self.row).any():
            return "its memory is not reached from here"
        if self.label in STUCK:
            if self.moment.mode != "automatic":
                return "only automatic is watched"
            if not self._apart(traces)[self.last - self.stated : self.last].any():
                return "it stuck where the pressure was wanted"
        applies, reason = reasons.get(self.label, (False, ""))
        return reason if applies else ""


def _first(found: npt.NDArray[np.bool_], start: int) -> int | None:
    places = np.flatnonzero(found[start:])
    return start + int(places[0]) if len(places) else None


def _command(scenario: Scenario) -> Profile:
    command = scenario.law.command
    span_ma = command.end_ma - command.start_ma
    shares = [1.0 - share if command.reverse else share for share in (LOW, HIGH)]
    currents = [command.start_ma + share * span_ma for share in shares]
    return Profile((0.0, SETTLE_S), tuple(currents))
