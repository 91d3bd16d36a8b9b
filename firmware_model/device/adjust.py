"""Settings as people say them: read, change, and how far they go.

``adjust_table.ADJUSTMENTS`` says what there is, `adjust_kinds` how words stand for
numbers. Between two ticks, never in one.
"""

from firmware_model.device.adjust_kinds import READERS, WRITERS
from firmware_model.device.adjust_table import (
    ADJUSTMENTS,
    CHOICE,
    END_CURRENT,
    GAIN,
    HEADER,
    KIND,
    LABEL,
    LAG,
    SLOT,
    TRACKING,
    UNIT,
    WORDS,
)
from firmware_model.device.decimal import from_ratio
from firmware_model.device.layout import DEVICE_PARAMETERS
from firmware_model.law.arith import const
from firmware_model.law.layout import MANTISSA, SHIFT

CONFLICT = const(-221)
OUT_OF_RANGE = const(-222)

_LAST_KIND_OF_ONE_WORD = const(3)
_RANGE_START = const(6)

__all__ = ["ADJUSTMENTS", "CHOICE", "HEADER", "KIND", "LABEL", "UNIT", "WORDS"]


def get(device, row, number) -> None:
    """Read a setting.

    Parameters
    ----------
    device : Device
    row : tuple
        Of `ADJUSTMENTS`.
    number : array
        Filled with digits and exponent; for a choice, its place.
    """
    _read(device, row, device.params, number)


def lowest(device, row, number) -> None:
    """Give the least number that a setting can have."""
    kind, slot = row[KIND], row[SLOT]
    if kind <= _LAST_KIND_OF_ONE_WORD:
        _read_with(device, row, number, ((slot, DEVICE_PARAMETERS[slot][1][0]),))
    elif kind == END_CURRENT:
        from_ratio(device.params[_RANGE_START] + 4, 1_000, number)
    else:
        from_ratio(0, 1, number)


def highest(device, row, number) -> None:
    """Give the largest number that a setting can have."""
    kind, slot = row[KIND], row[SLOT]
    if kind <= _LAST_KIND_OF_ONE_WORD:
        _read_with(device, row, number, ((slot, DEVICE_PARAMETERS[slot][1][1]),))
    elif kind == END_CURRENT:
        from_ratio(25, 1, number)
    elif _is_gain(kind):
        largest = (slot, MANTISSA[1]), (slot + 1, SHIFT[0])
        _read_with(device, row, number, largest)
    else:
        _read_with(device, row, number, ((slot, 1), (slot + 1, SHIFT[1])))


def factory(device, row, number) -> None:
    """Give the number that a setting has in a fresh block, all else as it is."""
    slot = row[SLOT]
    slots = (slot,) if row[KIND] <= _LAST_KIND_OF_ONE_WORD else (slot, slot + 1)
    edits = [(each, DEVICE_PARAMETERS[each][2]) for each in slots]
    _read_with(device, row, number, edits)


def put(device, row, number) -> int:
    """Change a setting, as all settings are changed: whole and without a bump.

    Parameters
    ----------
    device : Device
    row : tuple
        Of `ADJUSTMENTS`.
    number : array
        Digits and exponent.

    Returns
    -------
    int
        0, or the error's number: `OUT_OF_RANGE`, or `CONFLICT` with another word.
    """
    top = number[0] * 10 ** max(number[1], 0)
    bottom = 10 ** max(-number[1], 0)
    writer = WRITERS[row[KIND]]
    edits = writer(device.params, row, device.store.tick_us, top, bottom)
    if edits is None:
        return int(OUT_OF_RANGE)
    for slot, word in edits:
        low, high = DEVICE_PARAMETERS[slot][1]
        if not low <= word <= high:
            return int(OUT_OF_RANGE)
    return 0 if device.change(edits) < 0 else int(CONFLICT)


def _is_gain(kind: int) -> bool:
    """Tell a kind that grows with its gain from one that falls."""
    return bool(kind >= GAIN and READERS[kind] not in _FALLING)


_FALLING = (READERS[LAG], READERS[TRACKING])


def _read(device, row, params, number) -> None:
    top, bottom = READERS[row[KIND]](params, row, device.store.tick_us)
    from_ratio(top, bottom, number)


def _read_with(device, row, number, edits) -> None:
    """Read a setting as it would be with other words."""
    trial = device.trial
    for slot in range(len(trial)):
        trial[slot] = device.params[slot]
    for slot, word in edits:
        trial[slot] = word
    _read(device, row, trial, number)
