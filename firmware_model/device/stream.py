"""Selected signals, one line every so many ticks, to whoever reads the console."""

from firmware_model.device.scpi_text import ratio_text
from firmware_model.law.arith import const

_TICKS = const(6)
_TICKS_MASK = const(67_108_863)
_DROPPED_LIMIT = const(1_000_000)
MARK = "~"

# Name, slot, ratio to what is written, decimal places.
SIGNALS = (
    ("CURRent", 12, 1_000, 3),
    ("TARGet", 13, 250, 2),
    ("SETPoint", 15, 250, 2),
    ("PRESsure", 17, 250, 2),
    ("ERRor", 24, 250, 2),
    ("PROPortional", 25, 250, 2),
    ("INTegral", 30, 250, 2),
    ("DERivative", 28, 250, 2),
    ("OUTPut", 36, 250, 2),
    ("DRIVe", 38, 250, 2),
    ("FAULts", 49, 1, 0),
)


def signal_text(state, signal) -> str:
    """Write a signal as a person reads it."""
    _, slot, bottom, places = signal
    return ratio_text(state[slot], bottom, places)


class Stream:
    """Writes lines from the main loop; the tick knows nothing of it.

    Attributes
    ----------
    signals : list
        Rows of `SIGNALS`.
    every : int
        Ticks from line to line.
    dropped : int
        Lines that a slow reader or a busy loop has cost.
    """

    def __init__(self, state) -> None:
        self.state = state
        self.signals = [SIGNALS[2], SIGNALS[3], SIGNALS[8]]
        self.every = 10
        self.is_on = False
        self.dropped = 0
        self.last = 0

    def switch(self, is_on: bool) -> None:
        """Begin or end."""
        self.is_on = is_on
        self.dropped = 0
        self.last = int(self.state[_TICKS])

    def line(self) -> str:
        """Give the line that is due, or nothing."""
        passed = (self.state[_TICKS] - self.last) & _TICKS_MASK
        if not self.is_on or passed < self.every:
            return ""
        missed = passed // self.every - 1
        self.dropped = min(self.dropped + missed, _DROPPED_LIMIT)
        self.last = (self.last + passed - passed % self.every) & _TICKS_MASK
        parts = [str(self.last)]
        parts += [signal_text(self.state, signal) for signal in self.signals]
        return MARK + ",".join(parts)
