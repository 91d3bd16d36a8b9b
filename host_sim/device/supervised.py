"""The law with its supervisor, in the place of the law alone."""

from array import array

from firmware_model.device import supervisor
from firmware_model.device.faults import FAULTS, LABEL
from firmware_model.device.layout import DEVICE_STATE
from host_sim.device.device_block import DeviceBlock
from host_sim.law.controller import Controller
from host_sim.law.counts import whole

DEVICE_SLOT = {row[0]: slot for slot, row in enumerate(DEVICE_STATE)}
CONDITIONS = ("start-up", "running", "fault", "about to run")
COUNTS = 32_767


class SupervisedController(Controller):
    """A device's tick in process: `Controller` with start-up, modes and faults.

    ``mode`` is the mode wished for; what the law is told follows from it and from
    the phase.

    Parameters
    ----------
    block : DeviceBlock
        Shared, not copied; call `reset` after a change, as a board starts anew.

    >>> pilot = SupervisedController(DeviceBlock(tick_s=0.01))
    >>> for _ in range(51):
    ...     drive = pilot.tick(15728, 8192, 16384)
    >>> pilot.condition, pilot.active, drive
    ('running', 'start', 0.0)
    """

    def __init__(self, block: DeviceBlock) -> None:
        super().__init__(block)

    def reset(self) -> None:
        """Start up, with nothing known."""
        self.state = array("i", [0] * len(DEVICE_STATE))
        supervisor.start(self.state, self.block.words)

    def tick(
        self,
        current_counts: float,
        pressure_counts: float,
        supply_counts: float,
        late_ticks: int = 0,
    ) -> float:
        """Run one tick on converter counts and return the drive."""
        state = self.state
        for slot, counts in enumerate((current_counts, pressure_counts, supply_counts)):
            state[slot] = min(max(whole(counts), 0), COUNTS)
        state[DEVICE_SLOT["LATE"]] = late_ticks
        supervisor.run(state, self.block.words)
        return self.drive

    @property
    def mode(self) -> str:
        """The mode wished for: automatic, manual or hold."""
        return ("automatic", "manual", "hold")[self.word("WISH")]

    @mode.setter
    def mode(self, mode: str) -> None:
        wish = ("automatic", "manual", "hold").index(mode)
        self.state[DEVICE_SLOT["WISH"]] = wish

    @property
    def condition(self) -> str:
        """Start-up, running or fault."""
        return CONDITIONS[self.word("CONDITION")]

    @property
    def present(self) -> tuple[str, ...]:
        """Labels of the faults that are seen now."""
        return labels(self.word("PRESENT"))

    @property
    def held(self) -> tuple[str, ...]:
        """Labels of the faults that still count."""
        return labels(self.word("HELD"))

    def confirm(self) -> None:
        """Say that a person has seen the faults."""
        self.state[DEVICE_SLOT["CONFIRM"]] = 1

    def word(self, name: str) -> int:
        """Read a state word by its name in the device's layout."""
        return int(self.state[DEVICE_SLOT[name]])


def labels(bits: int) -> tuple[str, ...]:
    """Name the faults whose bits are set.

    >>> labels(0b101)
    ('CURRENT LOW', 'SENSOR OPEN')
    """
    return tuple(
        str(fault[LABEL]) for row, fault in enumerate(FAULTS) if bits >> row & 1
    )
