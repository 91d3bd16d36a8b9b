"""Whole converter counts: a board has no others."""

import math


def whole(counts: float) -> int:
    """Round counts to the nearest whole number, halves up.

    >>> whole(2.5), whole(2.4)
    (3, 2)
    """
    return math.floor(counts + 0.5)
