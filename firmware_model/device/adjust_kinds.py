"""How words stand for numbers: for each kind of setting, both ways.

A reader gives the ratio (top, bottom) that words stand for; a writer gives the edits,
pairs of slot and word, that a ratio becomes, or None where it becomes none. h is the
tick. Long integers: between two ticks, never in one.
"""

from firmware_model.device.adjust_table import BOTTOM, SLOT, TOP
from firmware_model.law.arith import const

_RANGE_START = const(6)
_D_GAIN = const(74)
_LEAK_GAIN = const(76)
_FULL = const(25_000)
_RATE_UNIT = const(250 << 14)
_MICRO = const(1_000_000)
_MANTISSA_HIGH = const(16_383)
_SHIFT_HIGH = const(29)


def linear(params, row, _tick_us: int) -> "tuple[int, int]":
    """``word * top / bottom``."""
    return params[row[SLOT]] * row[TOP], row[BOTTOM]


def to_linear(_params, row, _tick_us: int, top: int, bottom: int):
    """Turn ``linear`` round."""
    return ((row[SLOT], nearest(top * row[BOTTOM], bottom * row[TOP])),)


def choice(params, row, _tick_us: int) -> "tuple[int, int]":
    """Give the word itself."""
    return params[row[SLOT]], 1


def to_choice(_params, row, _tick_us: int, top: int, bottom: int):
    """Turn ``choice`` round."""
    return ((row[SLOT], nearest(top, bottom)),)


def time(params, row, tick_us: int) -> "tuple[int, int]":
    """``word * h``."""
    return params[row[SLOT]] * tick_us, _MICRO


def to_time(_params, row, tick_us: int, top: int, bottom: int):
    """Turn ``time`` round."""
    return ((row[SLOT], nearest(top * _MICRO, bottom * tick_us)),)


def rate(params, row, tick_us: int) -> "tuple[int, int]":
    """``word / 2**14 / h``, in percent."""
    return params[row[SLOT]] * _MICRO, _RATE_UNIT * tick_us


def to_rate(_params, row, tick_us: int, top: int, bottom: int):
    """Turn ``rate`` round."""
    return ((row[SLOT], nearest(top * _RATE_UNIT * tick_us, bottom * _MICRO)),)


def gain(params, row, _tick_us: int) -> "tuple[int, int]":
    """``mantissa / 2**shift``."""
    return params[row[SLOT]], 1 << params[row[SLOT] + 1]


def to_gain(_params, row, _tick_us: int, top: int, bottom: int):
    """Turn ``gain`` round."""
    return gain_words(row[SLOT], top, bottom)


def per_second(params, row, tick_us: int) -> "tuple[int, int]":
    """``gain / h``."""
    return params[row[SLOT]] * _MICRO, tick_us << params[row[SLOT] + 1]


def to_per_second(_params, row, tick_us: int, top: int, bottom: int):
    """Turn ``per_second`` round."""
    return gain_words(row[SLOT], top * tick_us, bottom * _MICRO)


def lag(params, row, tick_us: int) -> "tuple[int, int]":
    """``h (1 / share - 1)``."""
    share, power = gain(params, row, tick_us)
    return max(power - share, 0) * tick_us, _MICRO * max(share, 1)


def to_lag(_params, row, tick_us: int, top: int, bottom: int):
    """Turn ``lag`` round."""
    return gain_words(row[SLOT], *_share(tick_us, top, bottom))


def tracking(params, row, tick_us: int) -> "tuple[int, int]":
    """``h / gain``; 0 where there is none."""
    share, power = gain(params, row, tick_us)
    return (tick_us * power, _MICRO * share) if share else (0, 1)


def to_tracking(_params, row, tick_us: int, top: int, bottom: int):
    """Turn ``tracking`` round; shorter than a tick is none."""
    if top == 0:
        return (row[SLOT], 0), (row[SLOT] + 1, 1)
    if top * _MICRO < tick_us * bottom:
        return None
    return gain_words(row[SLOT], tick_us * bottom, top * _MICRO)


def derivative(params, row, tick_us: int) -> "tuple[int, int]":
    """``gain h / leak``: the law's gain counts on what the high-pass leaves."""
    word, power = gain(params, row, tick_us)
    leak = max(params[_LEAK_GAIN], 1)
    return word * tick_us << params[_LEAK_GAIN + 1], power * _MICRO * leak


def to_derivative(params, row, tick_us: int, top: int, bottom: int):
    """Turn ``derivative`` round."""
    top *= _MICRO * params[_LEAK_GAIN]
    return gain_words(row[SLOT], top, bottom * tick_us << params[_LEAK_GAIN + 1])


def to_derivative_lag(params, row, tick_us: int, top: int, bottom: int):
    """Change the derivative's lag and keep its gain."""
    share = gain_words(row[SLOT], *_share(tick_us, top, bottom))
    if share is None:
        return None
    (_, leak), (_, shift) = share
    top = params[_D_GAIN] * leak << params[_LEAK_GAIN + 1]
    bottom = max(params[_LEAK_GAIN], 1) << (params[_D_GAIN + 1] + shift)
    kept = gain_words(_D_GAIN, top, bottom)
    return None if kept is None else share + kept


def end_current(params, row, tick_us: int) -> "tuple[int, int]":
    """``start + 25 000 / gain``, in milliamperes."""
    word, power = gain(params, row, tick_us)
    word = max(word, 1)
    return params[_RANGE_START] * word + _FULL * power, 1_000 * word


def to_end_current(params, row, _tick_us: int, top: int, bottom: int):
    """Turn ``end_current`` round."""
    span = 1_000 * top - params[_RANGE_START] * bottom
    if span <= 0 or top > 25 * bottom:
        return None
    return gain_words(row[SLOT], _FULL * bottom, span)


READERS = (
    linear,
    choice,
    time,
    rate,
    gain,
    per_second,
    lag,
    tracking,
    derivative,
    lag,
    end_current,
)
WRITERS = (
    to_linear,
    to_choice,
    to_time,
    to_rate,
    to_gain,
    to_per_second,
    to_lag,
    to_tracking,
    to_derivative,
    to_derivative_lag,
    to_end_current,
)


def gain_words(slot: int, top: int, bottom: int):
    """Give mantissa and shift of the nearest gain, as the host quantises it.

    Returns
    -------
    tuple
        Two pairs of slot and word; None where it would vanish, is too large or
        below 0.

    >>> gain_words(71, 5, 2)
    ((71, 10240), (72, 12))
    """
    shift = _SHIFT_HIGH
    mantissa = nearest(top << shift, bottom)
    while shift > 1 and mantissa > _MANTISSA_HIGH:
        shift -= 1
        mantissa = nearest(top << shift, bottom)
    if not 0 <= mantissa <= _MANTISSA_HIGH or (top and not mantissa):
        return None
    return (slot, mantissa), (slot + 1, shift)


def nearest(top: int, bottom: int) -> int:
    """Divide to the nearest whole number, halves away from zero.

    >>> nearest(5, 2), nearest(-5, 2), nearest(4, 3)
    (3, -3, 1)
    """
    if top < 0:
        return -((bottom - 2 * top) // (2 * bottom))
    return (2 * top + bottom) // (2 * bottom)


def _share(tick_us: int, top: int, bottom: int) -> "tuple[int, int]":
    """``h / (lag + h)``."""
    return tick_us * bottom, tick_us * bottom + top * _MICRO
