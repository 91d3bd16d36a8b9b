"""The law for many loops as arrays: what a numpy user would write.

Branches become `numpy.where`. Only what the case uses is here: a proportional
drive without dither, whole set-point weight, no compensation, no cut-off, no
feed-forward, gains that do not change, readings that are never bad. The words of
the rest stay as the reset left them, so that all words can be compared.
"""

from collections.abc import Sequence

import numpy as np

from bench.host_answer import IntArray
from host_sim.law.block import COUNTS, PARAMETER_SLOT
from host_sim.law.controller import STATE_SLOT

SIGNAL_LOW, SIGNAL_HIGH, SPREAD = -1_250, 27_500, 28_750
CURRENT_HIGH = 25_000
TERM, REQUEST_LIMIT, INTEGRAL_LIMIT = 100_000, 50_000, 300_000
START = 4
RATE_BITS, RATE_MASK = 14, 16_383

GRANTED = {
    "REVERSE": 0,
    "CUTOFF": SIGNAL_LOW,
    "PRESSURE_LOW": -1,
    "SUPPLY_LOW": -1,
    "SUPPLY_LOST": 0,
    "STRENGTH": 0,
    "WEIGHT": 4_096,
    "CONDITIONAL": 0,
    "DRIVE_KIND": 0,
    "DITHER": 0,
    "DITHER_TICKS": 1,
    **{name: 0 for name in PARAMETER_SLOT if name.startswith("HOLD_")},
}
"""Parameters that this law takes for granted."""


def limited(word: IntArray, low: IntArray | int, high: IntArray | int) -> IntArray:
    """Limit; two ufuncs are quicker than `numpy.clip`."""
    inside: IntArray = np.minimum(np.maximum(word, low), high)
    return inside


class Gain:
    """Mantissas and shifts of many loops."""

    def __init__(self, mantissa: IntArray, shift: IntArray) -> None:
        self._mantissa, self._shift = mantissa, shift
        self._half = 1 << (shift - 1)
        self._mask = 2 * self._half - 1

    def amplify(self, word: IntArray) -> IntArray:
        """Multiply, to nearest, halves away from zero."""
        product = word * self._mantissa
        size = (np.abs(product) + self._half) >> self._shift
        nearest: IntArray = np.where(product < 0, -size, size)
        return nearest

    def carry(self, word: IntArray, rest: IntArray) -> tuple[IntArray, IntArray]:
        """Multiply; return the whole part, and what waits."""
        total = word * self._mantissa + rest
        size = np.abs(total) + self._half
        whole, left = size >> self._shift, (size & self._mask) - self._half
        negative = total < 0
        return np.where(negative, -whole, whole), np.where(negative, -left, left)


class NumpyLaw:
    """State and parameters of many loops, one array a word.

    Parameters
    ----------
    words, blocks : sequence of int array
        State and parameters of each loop.

    Raises
    ------
    ValueError
        Loops that use more of the law than this.
    """

    def __init__(self, words: Sequence[IntArray], blocks: Sequence[IntArray]) -> None:
        self.words = np.stack(words, axis=-1)
        table = np.stack(blocks, axis=-1)
        self._w = {name: self.words[slot] for name, slot in STATE_SLOT.items()}
        self._p = {name: table[slot] for name, slot in PARAMETER_SLOT.items()}
        for name, word in GRANTED.items():
            if (self._p[name] != word).any():
                raise ValueError(f"{name}: this law is for {word} alone")
        stems = [name[:-5] for name in PARAMETER_SLOT if name.endswith("_GAIN")]
        self._gain = {
            stem: Gain(self._p[f"{stem}_GAIN"], self._p[f"{stem}_SHIFT"])
            for stem in stems
        }

    def tick(self, current: IntArray, pressure: IntArray, supply: IntArray) -> IntArray:
        """Run one tick on converter counts; return the drive, a word."""
        w = self._w
        w["CURRENT_COUNTS"][:] = current
        w["PRESSURE_COUNTS"][:] = pressure
        w["SUPPLY_COUNTS"][:] = supply
        # All loops are in their first tick together.
        fresh = bool(w["FRESH"][0])
        self._command()
        self._sense(fresh=fresh)
        self._ramp(fresh=fresh)
        self._compare()
        self._terms()
        self._limit(fresh=fresh)
        self._integrate(fresh=fresh)
        w["PHASE"][:] = 1 - w["PHASE"]
        w["DRIVE"][:] = w["OUTPUT"]
        w["FRESH"][:] = 0
        w["TICKS"] += 1
        drive: IntArray = w["DRIVE"]
        return drive

    def _command(self) -> None:
        w, p, gain = self._w, self._p, self._gain
        current = gain["CURRENT"].amplify(w["CURRENT_COUNTS"]) + p["CURRENT_OFFSET"]
        current = limited(current, 0, CURRENT_HIGH)
        w["CURRENT"][:] = current
        target = gain["RANGE"].amplify(current - p["RANGE_START"])
        w["TARGET"][:] = limited(target, p["SETPOINT_LOW"], p["SETPOINT_HIGH"])

    def _sense(self, *, fresh: bool) -> None:
        w, p, gain = self._w, self._p, self._gain
        reading = gain["PRESSURE"].amplify(w["PRESSURE_COUNTS"]) + p["PRESSURE_OFFSET"]
        reading = limited(reading, SIGNAL_LOW, SIGNAL_HIGH)
        last = reading if fresh else w["PRESSURE"].copy()
        step, w["PRESSURE_REST"][:] = gain["FILTER"].carry(
            reading - last, w["PRESSURE_REST"]
        )
        w["PRESSURE"][:] = limited(last + step, SIGNAL_LOW, SIGNAL_HIGH)
        w["MOVEMENT"][:] = w["PRESSURE"] - last

        reading = gain["SUPPLY"].amplify(w["SUPPLY_COUNTS"]) + p["SUPPLY_OFFSET"]
        reading = limited(reading, 0, COUNTS)
        last = reading if fresh else w["SUPPLY"]
        step, w["SUPPLY_REST"][:] = gain["SUPPLY_FILTER"].carry(
            reading - last, w["SUPPLY_REST"]
        )
        w["SUPPLY"][:] = limited(last + step, 0, COUNTS)

    def _ramp(self, *, fresh: bool) -> None:
        w = self._w
        now = w["PRESSURE"] if fresh else w["SETPOINT"]
        goal = w["PRESSURE"] if fresh else w["TARGET"]
        step = self._allowed("RAMP", now < goal)
        w["SETPOINT"][:] = limited(goal, now - step, now + step)

    def _allowed(self, stem: str, rising: IntArray) -> IntArray:
        w, p = self._w, self._p
        rate = np.where(rising, p[f"{stem}_UP"], p[f"{stem}_DOWN"])
        total: IntArray = rate + w[f"{stem}_REST"]
        w[f"{stem}_REST"][:] = total & RATE_MASK
        return total >> RATE_BITS

    def _compare(self) -> None:
        w, p = self._w, self._p
        error = w["SETPOINT"] - w["PRESSURE"]
        held = np.where(w["INSIDE"] > 0, p["DEADBAND_HYSTERESIS"], 0)
        band = p["DEADBAND"] + held
        inside = (np.abs(error) <= band) & (band > 0)
        ticks = np.minimum(w["INSIDE"] + 1, p["DWELL"])
        w["INSIDE"][:] = np.where(inside, ticks, 0)
        beyond = error - np.where(error > 0, p["DEADBAND"], -p["DEADBAND"])
        w["ERROR"][:] = np.where(inside, 0, beyond)

    def _terms(self) -> None:
        w, p, gain = self._w, self._p, self._gain
        shaped = limited(w["ERROR"], -SPREAD, SPREAD)
        w["PROPORTIONAL"][:] = limited(gain["P"].amplify(shaped), -TERM, TERM)

        lost, w["WASHOUT_REST"][:] = gain["LEAK"].carry(w["WASHOUT"], w["WASHOUT_REST"])
        moved = np.where(w["INSIDE"] < p["DWELL"], w["MOVEMENT"], 0)
        w["WASHOUT"][:] = limited(w["WASHOUT"] - lost + moved, -SPREAD, SPREAD)
        w["DERIVATIVE"][:] = limited(-gain["D"].amplify(w["WASHOUT"]), -TERM, TERM)

        request = w["PROPORTIONAL"] + w["INTEGRAL"] + w["DERIVATIVE"]
        w["REQUEST"][:] = limited(request, -REQUEST_LIMIT, REQUEST_LIMIT)

    def _limit(self, *, fresh: bool) -> None:
        w, p = self._w, self._p
        w["ACTIVE"][:] = START if fresh else 0
        w["WANTED"][:] = w["OUTPUT"] if fresh else w["REQUEST"]
        goal = limited(w["WANTED"], p["OUTPUT_LOW"], p["OUTPUT_HIGH"])
        now = w["OUTPUT"].copy()
        step = self._allowed("RATE", now < goal)
        w["OUTPUT"][:] = limited(goal, now - step, now + step)
        w["DEMAND"][:] = w["OUTPUT"]

    def _integrate(self, *, fresh: bool) -> None:
        w, gain = self._w, self._gain
        if fresh:
            integral = w["OUTPUT"] - w["PROPORTIONAL"] - w["DERIVATIVE"]
            w["INTEGRAL"][:] = limited(integral, -INTEGRAL_LIMIT, INTEGRAL_LIMIT)
            w["INTEGRAL_REST"][:] = w["TRACK_REST"][:] = 0
            return
        over = limited(w["OUTPUT"] - w["REQUEST"], -SPREAD, SPREAD)
        over = np.where(w["OUTPUT"] == w["WANTED"], 0, over)
        share, rest = gain["I"].carry(w["ERROR"], w["INTEGRAL_REST"])
        excess, track_rest = gain["TRACK"].carry(over, w["TRACK_REST"])
        integral = w["INTEGRAL"] + share + excess
        resting = w["INSIDE"] > 0
        for name, word in (
            ("INTEGRAL", limited(integral, -INTEGRAL_LIMIT, INTEGRAL_LIMIT)),
            ("INTEGRAL_REST", rest),
            ("TRACK_REST", track_rest),
        ):
            w[name][:] = np.where(resting, w[name], word)
