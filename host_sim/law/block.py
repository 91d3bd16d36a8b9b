"""The board's parameter block by name, each word within its declared range."""

import math
from array import array
from dataclasses import dataclass, field
from typing import ClassVar, Literal

from firmware_model.law import layout
from host_sim.errors import InputError
from host_sim.law.gain import QuantisedGain

FULL = layout.FULL
COUNTS = layout.COUNTS[1]
Q12 = 4_096
Q14 = 16_384
HOLD_STEP = 2_048
PARAMETER_SLOT = {row[0]: slot for slot, row in enumerate(layout.PARAMETERS)}
Row = tuple[str, tuple[int, int], int, str]
SAFE_ACTIONS: tuple[Literal["vent", "hold", "fixed"], ...] = ("vent", "hold", "fixed")


@dataclass
class Block:
    """The law's parameter block for the board.

    Attributes
    ----------
    tick_s : float
        Tick that the words are made for [s].
    words : array
        Fresh unless given.
    """

    rows: ClassVar[tuple[Row, ...]] = layout.PARAMETERS
    slot: ClassVar[dict[str, int]] = PARAMETER_SLOT

    tick_s: float
    words: "array[int]" = field(default_factory=lambda: array("i"))

    def __post_init__(self) -> None:
        """Begin with the fresh words."""
        if not self.words:
            self.words = array("i", [row[2] for row in self.rows])

    def __getitem__(self, name: str) -> int:
        """Read a word by its name in the layout."""
        return int(self.words[self.slot[name]])

    def __setitem__(self, name: str, word: int) -> None:
        """Write a word by its name; refuse what the proof does not cover."""
        slot = self.slot[name]
        low, high = self.rows[slot][1]
        if not low <= word <= high:
            raise InputError(f"{name}: {word} is outside {low} ... {high}")
        self.words[slot] = word

    def ratio(self, stem: str) -> float:
        """Read a gain, mantissa over power of two, by the stem of its names."""
        return math.ldexp(self[f"{stem}_GAIN"], -self[f"{stem}_SHIFT"])

    def put_gain(self, stem: str, gain: QuantisedGain) -> None:
        """Write a gain into its two words."""
        self[f"{stem}_GAIN"] = gain.mantissa
        self[f"{stem}_SHIFT"] = gain.shift

    def check_order(self) -> None:
        """Refuse limits that stand upside down.

        Raises
        ------
        InputError
            The first pair of words whose lower one is above the upper one.
        """
        for low, high in layout.ORDERED:
            if self[low] > self[high]:
                raise InputError(
                    f"{low}: {self[low]} is above {high} {self[high]}; exchange them"
                )
