"""A device in the place of the law: the loop's plant, the device's decisions."""

from array import array
from collections.abc import Callable
from time import monotonic, sleep

from firmware_model.device import protocol
from firmware_model.law import tick as law_tick
from firmware_model.law.layout import STATE
from host_sim.device.device_block import DeviceBlock
from host_sim.device.link import Answer, DeviceLink
from host_sim.device.supervised import CONDITIONS
from host_sim.errors import InputError
from host_sim.law.block import COUNTS, FULL, Q12
from host_sim.law.controller import FAULTS
from host_sim.law.counts import whole

_STARTING = CONDITIONS.index("start-up")
_MICROSECONDS = 1e6
_LATE_FROM = 0.5
"""Ticks after its time, from which a tick is late."""


class DeviceLaw:
    """What the loop calls as its law; the ticks are the device's.

    The device gets the parameters, unsaved, and starts up; the loop's first counts
    are given to it until start-up is over, so that the first tick of the loop is
    the first one that the law commands, as in a loop without a device.

    Parameters
    ----------
    link : DeviceLink
        Open.
    block : DeviceBlock

    Attributes
    ----------
    late_ticks : int
        With a device that ticks by its own clock: ticks of this loop that began
        half a tick after their time or later.

    Raises
    ------
    InputError
        A device with another tick, or one that refuses.
    """

    def __init__(self, link: DeviceLink, block: DeviceBlock) -> None:
        self.link = link
        self.block = block
        self.answer: Answer | None = None
        self.late_ticks = 0
        self._pace: _Pace | None = None
        self.target = self.setpoint = self.pressure = self.compensation = 0.0
        self.error = self.proportional = self.integral = self.derivative = 0.0
        self.feedforward = self.request = self.output = self.drive = 0.0
        self._prepare()

    @property
    def faults(self) -> tuple[str, ...]:
        """Names of the present faults of the law."""
        bits = self.answer.FAULTS if self.answer else 0
        return tuple(name for k, name in enumerate(FAULTS) if bits >> k & 1)

    def tick(
        self, current_counts: float, pressure_counts: float, supply_counts: float
    ) -> float:
        """Let the device do one tick on these counts; return its drive."""
        read = (current_counts, pressure_counts, supply_counts)
        counts = [min(max(whole(one), 0), COUNTS) for one in read]
        if self.answer is None:
            self._start_up(counts)
        if self._pace is not None:
            self.late_ticks += self._pace.wait()
        self._take(self.link.exchange(*counts))
        return self.drive

    def release(self) -> None:
        """Give the device its stored parameters back."""
        if self.link.identity.stores:
            self.link.command(protocol.RESTORE)

    def _prepare(self) -> None:
        link, identity = self.link, self.link.identity
        tick_us = round(self.block.tick_s * _MICROSECONDS)
        if identity.tick_us != tick_us:
            raise InputError(
                f"{link.line.name}: the device ticks every {identity.tick_us} us, the "
                f"scenario every {tick_us} us; set run.tick to {identity.tick_us} us"
            )
        if identity.stores:
            link.command(protocol.RESTART)
            if link.read_state()["BLOCK_BAD"]:
                raise InputError(
                    f"{link.line.name}: the device has stored no parameters and stays "
                    "in its safe output; store some with `integer-pilot parameters "
                    "send`"
                )
            link.write_block(self.block)
            link.command(self.block["START_WISH"])
        else:
            state = array("i", [0] * len(STATE))
            law_tick.reset(state)
            link.write_words(protocol.OF_TRIAL_PARAMETERS, self.block.law().words)
            link.write_words(protocol.OF_TRIAL_STATE, state)

    def _start_up(self, counts: list[int]) -> None:
        identity = self.link.identity
        if identity.supervised:
            # One more in each case: the counts' own tick, and a clock's rounding.
            for _ in range(self.block["START_TICKS"] + 2):
                if self.link.exchange(*counts).CONDITION != _STARTING:
                    break
                if not identity.in_step:
                    sleep(self.block.tick_s)
        if not identity.in_step:
            self._pace = _Pace(self.block.tick_s, monotonic)

    def _take(self, answer: Answer) -> None:
        self.answer = answer
        self.target = answer.TARGET / FULL
        self.setpoint = answer.SETPOINT / FULL
        self.pressure = answer.PRESSURE / FULL
        self.compensation = answer.COMPENSATION / Q12
        self.error = answer.ERROR / FULL
        self.proportional = answer.PROPORTIONAL / FULL
        self.integral = answer.INTEGRAL / FULL
        self.derivative = answer.DERIVATIVE / FULL
        self.feedforward = answer.FEEDFORWARD / FULL
        self.request = answer.REQUEST / FULL
        self.output = answer.OUTPUT / FULL
        self.drive = answer.DRIVE / FULL


class _Pace:
    """Holds the loop to the wall clock, where the device has its own."""

    def __init__(self, tick_s: float, now: Callable[[], float]) -> None:
        self.tick_s = tick_s
        self.now = now
        self.due_s = now() + tick_s

    def wait(self) -> int:
        """Wait for the next tick; return 1 for one that is late, else 0."""
        left_s = self.due_s - self.now()
        if left_s > 0:
            sleep(left_s)
        late = self.now() - self.due_s >= _LATE_FROM * self.tick_s
        # What is missed is not caught up: the device does not wait either.
        self.due_s = max(self.due_s, self.now() - self.tick_s) + self.tick_s
        return int(late)
