"""The integer law with names: flat arrays inside, fractions of span outside."""

from array import array
from typing import Self, overload

from firmware_model.law import layout, tick
from host_sim.errors import InputError
from host_sim.law.block import COUNTS, FULL, Q12, Q14, Block
from host_sim.law.counts import whole

STATE_SLOT = {row[0]: slot for slot, row in enumerate(layout.STATE)}
MODES = ("automatic", "manual", "hold", "safe")
ACTIVES = ("automatic", "manual", "hold", "fault", "start", "shut")
FAULTS = ("current", "pressure sensor", "supply sensor", "supply lost")


class _Fraction:
    """A state word seen as a fraction: ``word / one``."""

    def __init__(self, name: str, one: int = FULL) -> None:
        self.slot = STATE_SLOT[name]
        self.one = one

    @overload
    def __get__(self, owner: None, kind: type) -> Self: ...
    @overload
    def __get__(self, owner: "Controller", kind: type) -> float: ...
    def __get__(self, owner: "Controller | None", kind: type) -> "float | Self":
        return self if owner is None else owner.state[self.slot] / self.one

    def __set__(self, owner: "Controller", fraction: float) -> None:
        word, (low, high) = round(fraction * self.one), layout.STATE[self.slot][1]
        if not low <= word <= high:
            raise InputError(
                f"{layout.STATE[self.slot][0]}: {fraction:g} is outside "
                f"{low / self.one:g} ... {high / self.one:g}"
            )
        owner.state[self.slot] = word


class Controller:
    """The board's law as an object, for notebooks, tests and the loop.

    Attributes are fractions: 1.0 is 100 % of the pressure range, full drive, or
    the reference supply. ``state`` and ``block.words`` are the board's own
    arrays and may be read at any time.

    Parameters
    ----------
    block : Block
        Parameters; shared, not copied, so a change is seen at the next tick.

    >>> from host_sim.law.quantise import quantise
    >>> from host_sim.law.settings import LawSettings
    >>> pilot = Controller(quantise(LawSettings(tick_s=0.01)))
    >>> for _ in range(2):
    ...     drive = pilot.tick(15728, 8192, 16384)
    >>> pilot.setpoint, pilot.pressure, drive
    (0.5, 0.25, 0.25)
    """

    target = _Fraction("TARGET")
    setpoint = _Fraction("SETPOINT")
    pressure = _Fraction("PRESSURE")
    supply = _Fraction("SUPPLY", Q14)
    compensation = _Fraction("COMPENSATION", Q12)
    error = _Fraction("ERROR")
    proportional = _Fraction("PROPORTIONAL")
    derivative = _Fraction("DERIVATIVE")
    integral = _Fraction("INTEGRAL")
    feedforward = _Fraction("FEEDFORWARD")
    request = _Fraction("REQUEST")
    output = _Fraction("OUTPUT")
    demand = _Fraction("DEMAND")
    drive = _Fraction("DRIVE")

    def __init__(self, block: Block) -> None:
        self.block = block
        self.state = array("i", bytes(4 * len(layout.STATE)))
        self.reset()

    def reset(self) -> None:
        """Start again from the next measurement; the output stays."""
        tick.reset(self.state)

    def tick(
        self, current_counts: float, pressure_counts: float, supply_counts: float
    ) -> float:
        """Run one tick on converter counts and return the drive.

        Counts are rounded to whole numbers and limited to the converter's range:
        a board has no others.
        """
        state = self.state
        for slot, counts in enumerate((current_counts, pressure_counts, supply_counts)):
            state[slot] = min(max(whole(counts), 0), COUNTS)
        tick.tick(state, self.block.words)
        return self.drive

    @property
    def mode(self) -> str:
        """The mode asked for: automatic, manual, hold, or the safe output."""
        return MODES[self.word("MODE")]

    @mode.setter
    def mode(self, mode: str) -> None:
        self.state[STATE_SLOT["MODE"]] = MODES.index(mode)

    @property
    def active(self) -> str:
        """Who commands the output: a mode, fault, start or shut."""
        return ACTIVES[self.word("ACTIVE")]

    @property
    def inside(self) -> bool:
        """Whether the error is inside the deadband."""
        return self.word("INSIDE") > 0

    @property
    def faults(self) -> tuple[str, ...]:
        """Names of the present faults."""
        bits = self.word("FAULTS")
        return tuple(name for k, name in enumerate(FAULTS) if bits >> k & 1)

    def word(self, name: str) -> int:
        """Read a state word by its name in the layout."""
        return int(self.state[STATE_SLOT[name]])
