"""Decimal numbers as text, in integers: what people type and read.

A number is a pair in an array of two words: digits and exponent, its value is
``digits * 10**exponent``. Source: the decimal numeric data of IEEE 488.2, NR1 to
NR3, from memory.
"""

from firmware_model.law.arith import const

_MOST_DIGITS = const(9)
_MOST_EXPONENT = const(20)
_ZERO = const(48)
_NINE = const(57)
_PLUS = const(43)
_MINUS = const(45)
_POINT = const(46)
_SMALL_E = const(101)
_LARGE_E = const(69)


def parse(buffer, first: int, stop: int, number) -> int:
    """Read a decimal number from bytes.

    Digits beyond the ninth that counts are dropped, so that a number never leaves
    31 bits.

    Parameters
    ----------
    buffer : bytes-like
    first, stop : int
        Where to look.
    number : array
        Filled with digits and exponent.

    Returns
    -------
    int
        The place behind it; -1 where no number begins, or its exponent is beyond 20.

    >>> number = [0, 0]
    >>> parse(b"-1.50e-3 S", 0, 10, number), number
    (8, [-15, -4])
    >>> parse(b"VENT", 0, 4, number)
    -1
    """
    at = first
    negative = at < stop and buffer[at] == _MINUS
    if at < stop and buffer[at] in (_MINUS, _PLUS):
        at += 1
    at = _parse_digits(buffer, at, stop, number)
    if at < 0:
        return -1
    after = _parse_exponent(buffer, at, stop, number)
    if after < 0 or not -_MOST_EXPONENT <= number[1] <= _MOST_EXPONENT:
        return -1
    if negative:
        number[0] = -number[0]
    shorten(number)
    return after


def _parse_digits(buffer, at: int, stop: int, number) -> int:
    digits = exponent = count = 0
    point = found = False
    while at < stop:
        byte = buffer[at]
        if byte == _POINT and not point:
            point = True
        elif _ZERO <= byte <= _NINE:
            found = True
            if count < _MOST_DIGITS:
                digits = 10 * digits + byte - _ZERO
                count += 1 if digits else 0
                exponent -= 1 if point else 0
            elif not point:
                exponent += 1
        else:
            break
        at += 1
    number[0] = digits
    number[1] = exponent
    return at if found else -1


def _parse_exponent(buffer, at: int, stop: int, number) -> int:
    """Read an exponent where one stands; return the place behind it."""
    if at >= stop or buffer[at] not in (_SMALL_E, _LARGE_E):
        return at
    begin = at + 1
    negative = begin < stop and buffer[begin] == _MINUS
    if begin < stop and buffer[begin] in (_MINUS, _PLUS):
        begin += 1
    exponent = 0
    at = begin
    while at < stop and _ZERO <= buffer[at] <= _NINE:
        if exponent <= _MOST_EXPONENT:
            exponent = 10 * exponent + buffer[at] - _ZERO
        at += 1
    if at == begin:
        return -1
    number[1] += -exponent if negative else exponent
    return at


def shorten(number) -> None:
    """Take trailing zeros off the digits.

    >>> number = [1500, -3]
    >>> shorten(number)
    >>> number
    [15, -1]
    """
    digits = abs(number[0])
    if digits == 0:
        number[1] = 0
        return
    while digits % 10 == 0:
        digits //= 10
        number[1] += 1
    number[0] = digits if number[0] > 0 else -digits


def write(number, buffer, at: int) -> int:
    """Write a number as plain digits, without an exponent.

    Parameters
    ----------
    number : array
    buffer : bytearray
        With room for it; 32 bytes do for every setting.
    at : int

    Returns
    -------
    int
        The place behind it.

    >>> line = bytearray(12)
    >>> line[: write([-15, -4], line, 0)]
    bytearray(b'-0.0015')
    """
    digits, exponent = abs(number[0]), number[1]
    if number[0] < 0:
        buffer[at] = _MINUS
        at += 1
    length = 1
    while 10**length <= digits:
        length += 1
    # Places before the point, at least one of them a zero.
    whole = length + exponent
    if whole <= 0:
        length -= whole - 1
        whole = 1
    for place in range(max(length, whole)):
        if place == whole:
            buffer[at] = _POINT
            at += 1
        power = length - 1 - place
        buffer[at] = _ZERO + (digits // 10**power % 10 if power >= 0 else 0)
        at += 1
    return at


def from_ratio(top: int, bottom: int, number) -> None:
    """Round a ratio of whole numbers to nine digits.

    Long integers: not for a tick.

    >>> number = [0, 0]
    >>> from_ratio(2, 3, number)
    >>> number
    [666666667, -9]
    """
    exponent = 0
    size = abs(top)
    while size and size < bottom * 10 ** (_MOST_DIGITS - 1):
        size *= 10
        exponent -= 1
    while size >= bottom * 10**_MOST_DIGITS:
        bottom *= 10
        exponent += 1
    digits = (2 * size + bottom) // (2 * bottom)
    number[0] = digits if top >= 0 else -digits
    number[1] = exponent
    if digits == 10**_MOST_DIGITS:
        number[0] //= 10
        number[1] += 1
    shorten(number)
