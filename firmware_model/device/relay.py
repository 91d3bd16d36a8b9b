"""Self-tuning: a relay with hysteresis makes the loop swing, and is measured.

While it runs, the output is the middle, which it was at the start, plus or minus
RELAY_SIZE, and changes sides when the error passes RELAY_BAND. Swings that agree are
averaged; gain and period at the stability limit follow, and by a published rule gains,
which are taken on consent only. It gives up, output back at the middle and mode as
before, for what stands in `REASONS`.

It measures what OUTPUT, before dither and valves, does to the pressure, so supply
compensation, which acts in automatic alone, is not in it. A rate limit that lets the
output reach its size only after a while shows as a longer period; one that never lets
it ends the test.

Source: Astrom and Haegglund, Automatica 20 (1984) 645-651, second-hand:
``Ku = 4 d / (pi sqrt(a**2 - eps**2))``.
"""

from firmware_model.device.relay_rules import RULES, proposal, root
from firmware_model.law.arith import const

_DEMAND = const(4)
_SETPOINT = const(15)
_PRESSURE = const(17)
_OUTPUT = const(36)
_WISH = const(43)
_CONDITION = const(47)
_OUTPUT_LOW = const(83)
_OUTPUT_HIGH = const(84)
_RELAY_SIZE = const(106)
_RELAY_BAND = const(107)
_RELAY_TRAVEL = const(108)
_RELAY_TICKS = const(109)
_RELAY_CYCLES = const(110)
_RELAY_RULE = const(111)
_RELAY_SAFETY = const(112)
_RUNNING_DEVICE = const(1)
_AUTOMATIC = const(0)
_MANUAL = const(1)
_CONFLICT = const(-221)
_OUT_OF_RANGE = const(-222)

IDLE = const(0)
SWINGING = const(1)
DONE = const(2)
GIVEN_UP = const(3)

NO_REASON = const(0)
FAULT = const(1)
OTHER_MODE = const(2)
TOO_LONG = const(3)
TOO_FAR = const(4)
UNEQUAL = const(5)
STOPPED = const(6)
LIMITED = const(7)
TOO_QUICK = const(8)
REASONS = (
    "",
    "FAULT",
    "MODE CHANGED",
    "TOO LONG",
    "WENT TOO FAR",
    "UNEQUAL HALVES",
    "STOPPED",
    "OUTPUT LIMITED",
    "SWINGS TOO QUICK",
)
STATES = ("NOT TUNED", "SWINGING", "DONE", "GIVEN UP")

# A swing agrees with the one before within a sixteenth in period and an eighth in
# size, and its halves are at most as one to six. Below sixteen ticks a swing is the
# noise's, or the tick is too slow to measure it.
_PERIOD_SHIFT = const(4)
_SIZE_SHIFT = const(3)
_MOST_UNEQUAL = const(6)
_TICK_Q4 = const(16)
_SHORTEST_Q4 = const(256)
_NOISE = const(16)


class Relay:
    """The relay test of one device.

    Parameters
    ----------
    device : Device

    Attributes
    ----------
    state, reason : int
        Places in `STATES` and `REASONS`.
    """

    def __init__(self, device) -> None:
        self.device = device
        self.state = int(IDLE)
        self.reason = int(NO_REASON)
        self.middle = self.step = self.band = 0
        self.wanted = self.side = self.error = 0
        self.limited = False
        self.ticks = self.began = self.turned = 0
        self.low = self.high = 0
        self.period = self.size = self.cycles = 0
        self.period_sum = self.size_sum = self.half = 0
        self.ending = False

    def start(self) -> int:
        """Begin a test; return 0, or the number of the error.

        Only while the device runs in automatic, and where the output has room for
        the relay on either side.
        """
        words, params = self.device.state, self.device.params
        if words[_CONDITION] != _RUNNING_DEVICE or words[_WISH] != _AUTOMATIC:
            return int(_CONFLICT)
        middle, step = int(words[_OUTPUT]), int(params[_RELAY_SIZE])
        if not params[_OUTPUT_LOW] + step <= middle <= params[_OUTPUT_HIGH] - step:
            return int(_OUT_OF_RANGE)
        # Kept, so that a change of the words falsifies neither test nor proposal.
        self.middle, self.step = middle, step
        self.band = int(params[_RELAY_BAND])
        self.wanted = int(words[_SETPOINT])
        self.error = self.wanted - int(words[_PRESSURE])
        self.side = 1 if self.error > 0 else -1
        self.low = self.high = self.error
        self.ticks = self.began = self.turned = 0
        self.period = self.size = self.half = 0
        self._forget()
        self.reason = int(NO_REASON)
        self.ending = False
        self.device.wish(_MANUAL)
        self.state = int(SWINGING)
        return 0

    def stop(self) -> None:
        """End a test."""
        if self.state == SWINGING:
            self._give_up(int(STOPPED))

    def is_running(self) -> bool:
        """Tell whether the relay has the output."""
        return bool(self.state == SWINGING or self.ending)

    def words(self) -> str:
        """Say how far it is, or why it gave up, within sixteen characters."""
        if self.state == GIVEN_UP:
            return REASONS[self.reason]
        if self.state == SWINGING:
            return STATES[self.state] + " " + str(self.cycles)
        return STATES[self.state]

    def advance(self) -> None:
        """Set the manual output of the coming tick; call it right before the tick.

        Scaling and overflow
        --------------------
        Errors of at most 28 750; times in sixteenths of a tick stay below 2**25.
        """
        if self.ending:
            self._return()
        elif self.state == SWINGING:
            self._watch()
            if self.state == SWINGING:
                self._swing()

    def _return(self) -> None:
        """Hand over to automatic once the output is back at the middle.

        The law takes over from there, which held the pressure.

        Scaling and overflow
        --------------------
        Outputs of at most 50 000.
        """
        words, params = self.device.state, self.device.params
        if words[_CONDITION] == _RUNNING_DEVICE:
            if words[_WISH] != _MANUAL:
                self.ending = False
                return
            goal = max(self.middle, int(params[_OUTPUT_LOW]))
            if int(words[_OUTPUT]) != min(goal, int(params[_OUTPUT_HIGH])):
                self.device.demand(self.middle)
                return
        self.ending = False
        self.device.wish(_AUTOMATIC)

    def _watch(self) -> None:
        """Give up for a fault, another mode, or too long a time.

        Scaling and overflow
        --------------------
        Ticks, at most 2**20.
        """
        words, params = self.device.state, self.device.params
        self.ticks += 1
        if words[_CONDITION] != _RUNNING_DEVICE:
            self._give_up(int(FAULT))
        elif words[_WISH] != _MANUAL:
            self.state = int(GIVEN_UP)
            self.reason = int(OTHER_MODE)
        elif self.ticks > params[_RELAY_TICKS]:
            quick = 0 < self.period < _SHORTEST_Q4
            self._give_up(int(TOO_QUICK) if quick else int(TOO_LONG))

    def _swing(self) -> None:
        """Follow the error, turn the relay where it passes the band.

        Scaling and overflow
        --------------------
        Errors of at most 28 750, outputs of at most 50 000.
        """
        error = self.wanted - int(self.device.state[_PRESSURE])
        band = self.band
        if abs(error) > self.device.params[_RELAY_TRAVEL]:
            self._give_up(int(TOO_FAR))
            return
        self.low = min(self.low, error)
        self.high = max(self.high, error)
        if self.side > 0 and error < -band:
            self._turn(-1, self._time_of(error, -band))
        elif self.side < 0 and error > band:
            self._turn(1, self._time_of(error, band))
        self.error = error
        if self.state == SWINGING:
            self.device.demand(self.middle + self.side * self.step)

    def _time_of(self, error: int, level: int) -> int:
        """Give the time at which the error passed a level, in sixteenths of a tick.

        Scaling and overflow
        --------------------
        Sixteen times 57 500 before the division; ticks times 16 below 2**25.
        """
        step = abs(error - self.error)
        back = abs(error - level) * _TICK_Q4 // step if step else 0
        return int(self.ticks * _TICK_Q4 - back)

    def _turn(self, side: int, now: int) -> None:
        """Change sides; the turn upward ends a swing.

        Scaling and overflow
        --------------------
        Times below 2**25.
        """
        if abs(int(self.device.state[_OUTPUT]) - self.middle) < self.step:
            self.limited = True
        self.side = side
        if side < 0:
            self.turned = now
            return
        if self.began:
            self._take(now - self.began, self.high - self.low, self.turned - self.began)
        self.began = now
        self.low = self.high = 0

    def _take(self, period: int, size: int, half: int) -> None:
        """Add a swing that agrees with the last one, or begin anew with it.

        Scaling and overflow
        --------------------
        Twenty periods below 2**29; six halves below 2**28.
        """
        agrees = abs(period - self.period) <= (period >> _PERIOD_SHIFT) + _TICK_Q4
        agrees = agrees and abs(size - self.size) <= (size >> _SIZE_SHIFT) + _NOISE
        self.period = period
        self.size = size
        if not agrees or period < _SHORTEST_Q4:
            self._forget()
            return
        self.cycles += 1
        self.period_sum += period
        self.size_sum += size
        if self.cycles < self.device.params[_RELAY_CYCLES]:
            return
        if min(half, period - half) * (_MOST_UNEQUAL + 1) < period:
            self._give_up(int(UNEQUAL))
        elif self.limited:
            self._give_up(int(LIMITED))
        else:
            self._end(int(DONE))

    def _forget(self) -> None:
        self.cycles = self.period_sum = self.size_sum = 0
        self.limited = False

    def _give_up(self, reason: int) -> None:
        self.reason = reason
        self._end(int(GIVEN_UP))

    def _end(self, state: int) -> None:
        """Ask for the middle; automatic follows once the output is there."""
        self.state = state
        self.device.state[_DEMAND] = self.middle
        self.ending = True

    def period_q4(self) -> int:
        """Give the period of the swing, in sixteenths of a tick."""
        return (2 * self.period_sum + self.cycles) // (2 * self.cycles)

    def ultimate_gain(self) -> "tuple[int, int]":
        """Give the gain at the stability limit as a ratio, pi as 355/113."""
        twice = self.size_sum * 32 // self.cycles
        # sqrt(a**2 - eps**2), in 32nds of a signal's unit doubled: 64ths
        inner = root(max(twice * twice - (64 * self.band) * (64 * self.band), 1))
        return 4 * self.step * 113 * 64, 355 * inner

    def propose(self):
        """Give the words of the gains that a finished test proposes.

        None without a finished test, a rule of that row, or gains that fit.
        """
        params = self.device.params
        row = int(params[_RELAY_RULE])
        if self.state != DONE or row >= len(RULES):
            return None
        top, bottom = self.ultimate_gain()
        top, bottom = top * params[_RELAY_SAFETY], bottom * 4_096
        return proposal(RULES[row], top, bottom, self.period_q4())

    def accept(self) -> int:
        """Take what is proposed; return 0, or the number of the error."""
        edits = self.propose()
        if edits is None:
            return int(_CONFLICT)
        return 0 if self.device.change(edits) < 0 else int(_OUT_OF_RANGE)
