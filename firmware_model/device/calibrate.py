"""Two-point calibration of a converter: two true values, two means of counts."""

from firmware_model.device.adjust_kinds import gain_words, nearest
from firmware_model.device.scpi_status import OUT_OF_RANGE, SETTINGS_CONFLICT
from firmware_model.law.arith import const

_CURRENT_COUNTS = const(0)
_PRESSURE_COUNTS = const(1)
_TICKS = const(6)
_CURRENT_GAIN = const(0)
_CURRENT_OFFSET = const(2)
_PRESSURE_GAIN = const(19)
_PRESSURE_OFFSET = const(21)
READINGS = const(32)
LEAST_COUNTS = const(1_000)
_MOST_COUNTS = const(32_767)

CURRENT = (_CURRENT_COUNTS, _CURRENT_GAIN, _CURRENT_OFFSET)
PRESSURE = (_PRESSURE_COUNTS, _PRESSURE_GAIN, _PRESSURE_OFFSET)


class Calibration:
    """Collects readings at two true values, then finds gain and offset.

    Parameters
    ----------
    device : Device
    place : tuple
        `CURRENT` or `PRESSURE`.
    """

    def __init__(self, device, place) -> None:
        self.device = device
        self.counts_slot, self.gain_slot, self.offset_slot = place
        self.truths = [(0, 1), (0, 1)]
        self.sums = [0, 0]
        self.readings = [0, 0]
        self.taking = -1
        self.last_tick = -1

    def take(self, point: int, top: int, bottom: int) -> None:
        """Begin to read a point whose true value is a ratio, in words."""
        self.truths[point] = (top, bottom)
        self.sums[point] = self.readings[point] = 0
        self.taking = point

    def forget(self) -> None:
        """Read nothing more, and drop both points."""
        self.taking = -1
        self.readings[0] = self.readings[1] = 0

    def serve(self) -> None:
        """Add the reading of a new tick, while a point is being read."""
        state, point = self.device.state, self.taking
        if point < 0 or state[_TICKS] == self.last_tick:
            return
        self.last_tick = int(state[_TICKS])
        self.sums[point] += state[self.counts_slot]
        self.readings[point] += 1
        if self.readings[point] >= READINGS:
            self.taking = -1

    def is_ready(self) -> bool:
        """Tell whether both points have been read."""
        return bool(min(self.readings) >= READINGS)

    def apply(self) -> int:
        """Change gain and offset so that both points read true.

        Returns
        -------
        int
            0; `SETTINGS_CONFLICT` before both points are read, or if they are less
            than a thousand counts apart, upside down, or at an end of the converter;
            `OUT_OF_RANGE` if no legal words give them. Points that were applied are
            dropped, so that an old one never meets a new one.
        """
        if not self.is_ready():
            return int(SETTINGS_CONFLICT)
        low, high = self.sums
        apart = high - low
        (low_top, low_bottom), (high_top, high_bottom) = self.truths
        top = high_top * low_bottom - low_top * high_bottom
        bottom = high_bottom * low_bottom
        at_end = low <= 0 or high >= _MOST_COUNTS * READINGS
        if at_end or apart < LEAST_COUNTS * READINGS or top <= 0:
            return int(SETTINGS_CONFLICT)
        gain = gain_words(self.gain_slot, top * READINGS, bottom * apart)
        if gain is None:
            return int(OUT_OF_RANGE)
        (_, mantissa), (_, shift) = gain
        # offset = true - mean counts * gain, the gain as it is kept
        power = READINGS << shift
        offset = nearest(
            low_top * power - low * mantissa * low_bottom, low_bottom * power
        )
        edits = gain + ((self.offset_slot, offset),)
        if self.device.change(edits) >= 0:
            return int(OUT_OF_RANGE)
        self.forget()
        return 0
