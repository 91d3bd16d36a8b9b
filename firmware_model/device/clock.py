"""A tick's own clock, where no timer calls: when the next one is due, how late."""

from firmware_model.law.arith import const

# Both divide the span of every port's microsecond counter.
_TURN_MASK = const(0x1FFFFFFF)
_HALF_TURN = const(0x10000000)
_MOST_LATE = const(1_000)


class Clock:
    """Ticks on a fixed grid; what is missed is counted, not caught up.

    Parameters
    ----------
    tick_us : int
    now_us : int
        The port's wrapping counter; the first tick is due one tick later.
    """

    def __init__(self, tick_us: int, now_us: int) -> None:
        self.tick_us = tick_us
        self.due_us = now_us + tick_us & _TURN_MASK

    def take(self, now_us: int) -> int:
        """Tell whether a tick is due, and how many came late or not at all.

        Strictly: one that begins half a tick after its time, or more, is late.

        Parameters
        ----------
        now_us : int

        Returns
        -------
        int
            -1 for not yet; else run one tick with this as LATE.

        Scaling and overflow
        --------------------
        Differences are below 2**28, sums below 2**30.

        >>> clock = Clock(10_000, 0)
        >>> clock.take(9_999), clock.take(10_000), clock.take(25_000), clock.due_us
        (-1, 0, 1, 30000)
        """
        waited_us = (now_us - self.due_us + _HALF_TURN & _TURN_MASK) - _HALF_TURN
        if waited_us < 0:
            return -1
        passed = waited_us // self.tick_us
        late = (waited_us + (self.tick_us >> 1)) // self.tick_us
        self.due_us = self.due_us + (passed + 1) * self.tick_us & _TURN_MASK
        return int(min(late, _MOST_LATE))
