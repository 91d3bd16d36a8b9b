"""A person at the keys, for CPython and MicroPython alike."""

from console_pilot import ConsolePilot

from firmware_model.device.keys import HOLD, HOLD_BOTH
from firmware_model.device.menu import Menu

LESS, MORE, SET, BOTH = 1, 2, 4, 3
SEED = [1]


def draw(below):
    """Draw an integer below a small bound."""
    SEED[0] = SEED[0] * 16_807 % 2_147_483_647
    return SEED[0] // 1_000 % below


class Person:
    """Presses keys of a pilot and reads its two lines."""

    def __init__(self, pilot=None):
        self.pilot = pilot or ConsolePilot()
        self.pilot.tick(80)
        self.menu = Menu(self.pilot.device, self.pilot.relay)

    @property
    def lines(self):
        """Both lines as text."""
        return [row.decode() for row in self.menu.screen.lines]

    def press(self, key, calls=3):
        """Press a key for so many calls and let it go."""
        for _ in range(calls):
            self.menu.serve(key)
        for _ in range(3):
            self.menu.serve(0)

    def hold(self, key=SET):
        """Hold a key."""
        self.press(key, HOLD + 5)

    def wait(self, calls):
        """Do nothing."""
        for _ in range(calls):
            self.menu.serve(0)


def walk(seed, presses, locked=0):
    """Press keys at random; return all screens in one text."""
    SEED[0] = seed
    person = Person()
    if locked:
        person.pilot.device.change(((105, 1),))
    seen = []
    for _ in range(presses):
        key = (LESS, MORE, SET, SET, MORE, BOTH)[draw(6)]
        person.press(key, (1, 3, 3, 8, HOLD + 5, HOLD_BOTH + 5)[draw(6)])
        person.pilot.tick()
        seen.append("|".join(person.lines))
    return person, seen


def main(seed, presses):
    """Walk and print what was shown."""
    _, seen = walk(seed, presses)
    print("\n".join(seen))
