"""Three keys: from levels that bounce to events.

The keys are LESS, MORE and SET. Call `take` every 20 ms with the keys that are down.
"""

from firmware_model.law.arith import const

LESS = const(1)
MORE = const(2)
SET = const(4)

NOTHING = const(0)
LESS_PRESSED = const(1)
MORE_PRESSED = const(2)
SET_PRESSED = const(3)
SET_HELD = const(4)
BOTH_HELD = const(5)

REPEAT_AFTER = const(25)
REPEAT_EVERY = const(5)
HOLD = const(40)
HOLD_BOTH = const(150)
_LONGEST = const(1_000)


class Keys:
    """Debounces, repeats LESS and MORE, and tells a press of SET from a hold.

    A press of SET counts when it is let go before `HOLD`; a hold counts once.
    """

    def __init__(self) -> None:
        self.last = 0
        self.down = 0
        self.calls = 0

    def take(self, levels: int) -> int:
        """Take the keys that are down now; return an event.

        A level counts when it is seen twice in a row.
        """
        steady = levels == self.last
        self.last = levels
        if not steady:
            return int(NOTHING)
        if levels != self.down:
            before, held = self.down, self.calls
            self.down, self.calls = levels, 0
            if levels == 0 and before == SET and held < HOLD:
                return int(SET_PRESSED)
            return self._pressed(levels) if before == 0 else int(NOTHING)
        if self.calls < _LONGEST:
            self.calls += 1
        return self._held()

    def _pressed(self, levels: int) -> int:
        if levels == LESS:
            return int(LESS_PRESSED)
        if levels == MORE:
            return int(MORE_PRESSED)
        return int(NOTHING)

    def _held(self) -> int:
        if self.down == SET:
            return int(SET_HELD) if self.calls == HOLD else int(NOTHING)
        if self.down == LESS | MORE:
            return int(BOTH_HELD) if self.calls == HOLD_BOTH else int(NOTHING)
        late = self.calls - REPEAT_AFTER
        if late >= 0 and late % REPEAT_EVERY == 0:
            return self._pressed(self.down)
        return int(NOTHING)
