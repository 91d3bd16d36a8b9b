"""Three keys and two lines: everything that the console adjusts, with no computer.

======= ==================== ==================== ======================
key     readout              list                 editing
======= ==================== ==================== ======================
LESS    the view before      the item before      smaller by the step
MORE    the next view        the next item        larger by the step
SET     opens the list       edits, or does it    a finer step
hold    confirms the faults  back to the readout  takes what is shown
both    lifts the lock until the readout has been left alone for a minute
======= ==================== ==================== ======================

Half a minute without a key leaves list and editing, and changes nothing. Call `serve`
every 20 ms from the main loop.
"""

from array import array

from firmware_model.device.faults import FAULTS, LABEL
from firmware_model.device.keys import (
    BOTH_HELD,
    LESS_PRESSED,
    MORE_PRESSED,
    NOTHING,
    SET_HELD,
    SET_PRESSED,
    Keys,
)
from firmware_model.device.menu_edit import Editor
from firmware_model.device.menu_items import make_items
from firmware_model.device.scpi_text import ratio_text
from firmware_model.device.screen import Screen
from firmware_model.law.arith import const

_CURRENT = const(12)
_SETPOINT = const(15)
_PRESSURE = const(17)
_SUPPLY = const(20)
_ACTIVE = const(35)
_OUTPUT = const(36)
_HELD = const(49)
_FIRST = const(50)
_KEY_LOCK = const(105)

_READOUT = const(0)
_LIST = const(1)
_EDIT = const(2)

VIEWS = const(3)
LEAVE_AFTER = const(1_500)
LOCK_AFTER = const(3_000)
SHOW_FOR = const(60)
_REDRAW_EVERY = const(10)
_LONGEST = const(10_000)
ACTIVES = ("AUTO", "MANUAL", "HOLD", "FAULT", "START", "SHUT")


class Menu:
    """The keys' and the display's logic.

    Parameters
    ----------
    device : Device
    relay : Relay, optional
        Self-tuning.

    Attributes
    ----------
    screen : Screen
        What the display shows.
    """

    def __init__(self, device, relay=None) -> None:
        self.device = device
        self.items = make_items(device, relay)
        self.keys = Keys()
        self.screen = Screen()
        self.editor = Editor()
        self.page = int(_READOUT)
        self.view = 0
        self.place = 0
        self.message = ""
        self.message_calls = 0
        self.idle = 0
        self.unlocked = False
        self.number = array("i", (0, 0))
        self.draw()

    def serve(self, levels: int) -> None:
        """Take the keys that are down; draw when something may have changed."""
        event = self.keys.take(levels)
        self.idle = min(self.idle + 1, _LONGEST)
        if self.message_calls:
            self.message_calls -= 1
        if event != NOTHING:
            self.idle = 0
            self.message_calls = 0
            self._act(event)
        self._leave()
        if event != NOTHING or self.idle % _REDRAW_EVERY == 0:
            self.draw()

    def _leave(self) -> None:
        if self.page != _READOUT and self.idle >= LEAVE_AFTER:
            self.page = int(_READOUT)
        if self.page == _READOUT and self.idle >= LOCK_AFTER:
            self.unlocked = False

    def is_locked(self) -> bool:
        """Tell whether keys change nothing now."""
        return bool(self.device.params[_KEY_LOCK]) and not self.unlocked

    def say(self, message: str) -> None:
        """Show a message for a second."""
        self.message = message
        self.message_calls = int(SHOW_FOR)

    def _act(self, event: int) -> None:
        if event == BOTH_HELD:
            self.unlocked = True
            self.say("LOCK LIFTED")
        elif self.page == _READOUT:
            self._act_in_readout(event)
        elif self.page == _LIST:
            self._act_in_list(event)
        else:
            self._act_in_editing(event)

    def _act_in_readout(self, event: int) -> None:
        if event == SET_PRESSED:
            self.page = int(_LIST)
        elif event == SET_HELD:
            if self.is_locked():
                self.say("KEYS LOCKED")
            else:
                self.device.confirm()
                self.say("FAULTS CONFIRMED")
        else:
            self.view = (self.view + _step(event)) % VIEWS

    def _act_in_list(self, event: int) -> None:
        if event == SET_HELD:
            self.page = int(_READOUT)
        elif event != SET_PRESSED:
            self.place = (self.place + _step(event)) % len(self.items)
        elif self.is_locked():
            self.say("KEYS LOCKED")
        else:
            item = self.items[self.place]
            if hasattr(item, "act"):
                self.say(item.act() or "DONE")
            else:
                self.editor.begin(item)
                self.page = int(_EDIT)

    def _act_in_editing(self, event: int) -> None:
        if event == SET_HELD and self.is_locked():
            self.say("KEYS LOCKED")
        elif event == SET_HELD:
            refused = self.editor.take()
            self.say(refused or "TAKEN")
            if not refused:
                self.page = int(_LIST)
        elif event == SET_PRESSED:
            self.editor.refine()
        else:
            self.editor.move(_step(event))

    def draw(self) -> None:
        """Write both lines."""
        if self.page == _READOUT:
            self._draw_readout()
        elif self.page == _LIST:
            item = self.items[self.place]
            self.screen.put(0, item.label)
            unit = getattr(item, "unit", "")
            self.screen.put(1, unit, item.state())
        else:
            self.screen.put(0, self.editor.item.label)
            self.screen.put(1, self.editor.step_text(), self.editor.text())
        if self.message_calls:
            self.screen.put(1, self.message)

    def _draw_readout(self) -> None:
        state = self.device.state
        mark = "*" if self.device.unsaved else ""
        pressure = ratio_text(state[_PRESSURE], 250, 2) + "%"
        self.screen.put(0, ACTIVES[state[_ACTIVE]] + mark, pressure)
        if state[_HELD] and self.view == 0:
            self.screen.put(1, str(FAULTS[_shown(state)][LABEL]), "!")
        elif self.view < VIEWS - 1:
            # Faults take the first view, so the second shows this either way.
            wanted = "S " + ratio_text(state[_SETPOINT], 250, 1)
            self.screen.put(1, wanted, "O " + ratio_text(state[_OUTPUT], 250, 1))
        else:
            current = ratio_text(state[_CURRENT], 1_000, 2) + "mA"
            supply = ratio_text(100 * state[_SUPPLY], 16_384, 0) + "%"
            self.screen.put(1, current, "A " + supply)


def _step(event: int) -> int:
    """Give the direction of a key."""
    if event == LESS_PRESSED:
        return -1
    return 1 if event == MORE_PRESSED else 0


def _shown(state) -> int:
    """Give the row of the fault to show: the first, or the lowest that still counts."""
    row = state[_FIRST] - 1
    if row >= 0 and state[_HELD] >> row & 1:
        return int(row)
    row = 0
    while not state[_HELD] >> row & 1:
        row += 1
    return row
