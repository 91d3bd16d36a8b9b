"""A supervised device elsewhere, as the fault campaign looks at it."""

from collections.abc import Callable
from typing import Any

from firmware_model.device import protocol
from host_sim.device.device_block import DeviceBlock
from host_sim.device.device_law import DeviceLaw
from host_sim.device.link import DeviceLink
from host_sim.device.supervised import SupervisedController
from host_sim.errors import InputError
from host_sim.law.block import COUNTS, Q14
from host_sim.law.counts import whole

MODES = ("automatic", "manual", "hold")


class DevicePilot(DeviceLaw):
    """`DeviceLaw` with modes, faults, late ticks, and all words after each tick.

    Parameters
    ----------
    link : DeviceLink
        Open.
    block : DeviceBlock

    Raises
    ------
    InputError
        A device without a supervisor.
    """

    def __init__(self, link: DeviceLink, block: DeviceBlock) -> None:
        if not link.identity.supervised:
            raise InputError(
                f"{link.line.name}: has no supervisor, so there is no fault to find; "
                "take model, unix or a board of more memory"
            )
        super().__init__(link, block)
        self.words: dict[str, int] = {}

    def tick(
        self,
        current_counts: float,
        pressure_counts: float,
        supply_counts: float,
        late_ticks: int = 0,
    ) -> float:
        """Let the device do one tick; read what it is like after it."""
        read = (current_counts, pressure_counts, supply_counts)
        counts = [min(max(whole(one), 0), COUNTS) for one in read]
        if self.answer is None:
            self._start_up(counts)
        self._take(self.link.exchange(counts[0], counts[1], counts[2], late_ticks))
        self.words = self.link.read_state()
        return self.drive

    def word(self, name: str) -> int:
        """Read a state word by its name in the device's layout."""
        return self.words[name]

    @property
    def supply(self) -> float:
        """The supply as a share of the reference supply."""
        return self.words["SUPPLY"] / Q14

    @property
    def mode(self) -> str:
        """The mode wished for."""
        return MODES[self.words["WISH"]]

    @mode.setter
    def mode(self, mode: str) -> None:
        self.link.command(MODES.index(mode))

    def confirm(self) -> None:
        """Say that a person has seen the faults."""
        self.link.command(protocol.CONFIRM)


def pilot_maker(link: DeviceLink) -> Callable[[DeviceBlock], Any]:
    """Give what makes the campaign's device: in process for the model, else linked.

    Parameters
    ----------
    link : DeviceLink
        Open.
    """
    if link.line.name == "model":
        return SupervisedController
    return lambda block: DevicePilot(link, block)
