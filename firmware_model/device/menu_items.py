"""What the list on the display holds: things to do, and every setting of the table.

An item tells its label and its present state, and either is edited (`words` or a
number with its ends) or done. `take` returns "" when it was done, else why not.
"""

from array import array

from firmware_model.device import adjust
from firmware_model.device.adjust_table import (
    ADJUSTMENTS,
    CHOICE,
    KIND,
    LABEL,
    UNIT,
    WORDS,
)
from firmware_model.device.decimal import from_ratio
from firmware_model.device.scpi_text import ratio_text, short_text
from firmware_model.law.arith import const

_DEMAND = const(4)
_WISH = const(43)
_OUTPUT_LOW = const(83)
_OUTPUT_HIGH = const(84)
_CONDITION = const(47)
_MANUAL = const(1)
_RUNNING = const(1)
NUMBER_COLUMNS = const(8)
MODES = ("AUTOMATIC", "MANUAL", "HOLD")


class SettingItem:
    """One row of `ADJUSTMENTS`."""

    def __init__(self, device, row) -> None:
        self.device = device
        self.row = row
        self.label = row[LABEL]
        self.unit = row[UNIT]
        self.words: list[str] = []
        if row[KIND] == CHOICE:
            self.words = [word.upper() for word in row[WORDS]]
        self.number = array("i", (0, 0))

    def read(self, number) -> None:
        """Fill in the present number, a choice as its place."""
        adjust.get(self.device, self.row, number)

    def ends(self, low, high) -> None:
        """Fill in how far it goes."""
        adjust.lowest(self.device, self.row, low)
        adjust.highest(self.device, self.row, high)

    def take(self, number) -> str:
        """Change the setting."""
        error = adjust.put(self.device, self.row, number)
        if error == 0:
            return ""
        return "OUT OF RANGE" if error == adjust.OUT_OF_RANGE else "CONFLICT"

    def state(self) -> str:
        """Tell the present number or word."""
        self.read(self.number)
        if self.words:
            return str(self.words[self.number[0]])
        return short_text(self.number, NUMBER_COLUMNS)


class ModeItem:
    """The mode wished for."""

    label = "MODE"
    unit = ""
    words = MODES

    def __init__(self, device) -> None:
        self.device = device

    def read(self, number) -> None:
        """Fill in the place of the mode."""
        number[0], number[1] = self.device.state[_WISH], 0

    def take(self, number) -> str:
        """Ask for a mode."""
        self.device.wish(number[0])
        return ""

    def state(self) -> str:
        """Tell the mode."""
        return MODES[self.device.state[_WISH]]


class ManualItem:
    """The manual output."""

    label = "MANUAL OUTPUT"
    unit = "PCT"
    words = ()

    def __init__(self, device) -> None:
        self.device = device

    def read(self, number) -> None:
        """Fill in the manual output."""
        from_ratio(self.device.state[_DEMAND], 250, number)

    def ends(self, low, high) -> None:
        """Fill in the ends of the output."""
        from_ratio(self.device.params[_OUTPUT_LOW], 250, low)
        from_ratio(self.device.params[_OUTPUT_HIGH], 250, high)

    def take(self, number) -> str:
        """Set the manual output, in manual only."""
        state = self.device.state
        if state[_WISH] != _MANUAL or state[_CONDITION] != _RUNNING:
            return "NOT IN MANUAL"
        digits, exponent = number
        words = 250 * digits
        words = words * 10**exponent if exponent >= 0 else words // 10**-exponent
        self.device.demand(words)
        return ""

    def state(self) -> str:
        """Tell the manual output."""
        return ratio_text(self.device.state[_DEMAND], 250, 2)


class DoItem:
    """Something to do, with what to say of it."""

    words = ()

    def __init__(self, label: str, act, said) -> None:
        self.label = label
        self.act = act
        self.said = said

    def state(self) -> str:
        """Tell what there is to know before it is done."""
        return str(self.said())


def make_items(device, relay):
    """Make the list in its order."""

    def save() -> str:
        try:
            device.save()
        except OSError:
            return "MEMORY FAILED"
        return ""

    def restore() -> str:
        device.restore()
        return ""

    def take_factory() -> str:
        device.take_factory()
        return ""

    def said_of_saving() -> str:
        return "UNSAVED" if device.unsaved else "ALL SAVED"

    items = [ModeItem(device), ManualItem(device)]
    items += [SettingItem(device, row) for row in ADJUSTMENTS]
    if relay is not None:
        items += relay_items(relay)
    items += [
        DoItem("SAVE", save, said_of_saving),
        DoItem("BACK TO SAVED", restore, said_of_saving),
        DoItem("FACTORY SETTINGS", take_factory, said_of_saving),
    ]
    return items


def relay_items(relay):
    """Make the items of self-tuning: begin, end, take what is proposed."""

    def start() -> str:
        return "NOT READY" if relay.start() else ""

    def stop() -> str:
        relay.stop()
        return ""

    def accept() -> str:
        return "NO PROPOSAL" if relay.accept() else ""

    return [
        DoItem("TUNE: BEGIN", start, relay.words),
        DoItem("TUNE: END", stop, relay.words),
        DoItem("TUNE: ACCEPT", accept, relay.words),
    ]
