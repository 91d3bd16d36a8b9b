"""Numbers that are not known exactly: low, expected, high; bounds and draws."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Self

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

# The same file gives the same figures; 20 000 draws put a percentile within
# about half a percent of the draws of where endless drawing would.
SEED = 6
DRAWS = 20_000
LOW_PERCENT, MIDDLE_PERCENT, HIGH_PERCENT = 10, 50, 90


@dataclass(frozen=True)
class Range:
    """A number from ``low`` to ``high``, most likely ``expected``.

    Sums, differences and products are those of intervals: no choice inside the
    operands' ranges leads outside the result's. Where one number enters a sum
    twice the result may be wider than need be, never narrower.

    Source: interval arithmetic, common practice.

    >>> Range(1.0, 2.0, 3.0) * Range(-1.0, 1.0, 2.0)
    Range(low=-3.0, expected=2.0, high=6.0)
    >>> Range(1.0, 2.0, 3.0) - Range(0.5, 1.0, 1.5)
    Range(low=-0.5, expected=1.0, high=2.5)
    """

    low: float
    expected: float
    high: float

    def __add__(self, other: Self) -> Self:
        """Add ends to like ends."""
        return type(self)(
            self.low + other.low, self.expected + other.expected, self.high + other.high
        )

    def __sub__(self, other: Self) -> Self:
        """Subtract ends from opposite ends."""
        return type(self)(
            self.low - other.high, self.expected - other.expected, self.high - other.low
        )

    def __mul__(self, other: Self | float) -> Self:
        """Multiply: least and greatest of the products of the ends."""
        if not isinstance(other, Range):
            other = type(self)(other, other, other)
        products = [
            mine * yours
            for mine in (self.low, self.high)
            for yours in (other.low, other.high)
        ]
        return type(self)(min(products), self.expected * other.expected, max(products))


@dataclass(frozen=True)
class Spread:
    """One figure of the answer, never as one number.

    ``expected`` has every assumption at its expected value. A tenth of the
    draws lies below ``p10`` and a tenth above ``p90``; ``p50`` is their
    median. ``lowest`` and ``highest`` are not left while each assumption
    stays within its range.
    """

    expected: float
    p10: float
    p50: float
    p90: float
    lowest: float
    highest: float


def draw(ranges: Mapping[str, Range]) -> dict[str, FloatArray]:
    """Draw each number from the triangle over its range.

    The density rises from ``low`` to ``expected`` and falls to ``high``; each
    number is drawn independently of the others, from a stream seeded by its name.

    Parameters
    ----------
    ranges : mapping of str to Range

    Returns
    -------
    dict of str to ndarray, shape (DRAWS,)
        In the units of the ranges.

    Notes
    -----
    Source: triangular distribution of `numpy`, common practice for three-point
    estimates.

    Examples
    --------
    >>> drawn = draw({"sure": Range(2.0, 2.0, 2.0), "not": Range(0.0, 1.0, 2.0)})
    >>> float(drawn["sure"].std()), float(drawn["not"].mean())
    (0.0, 1.0)
    """
    drawn = {}
    for name, about in ranges.items():
        random = np.random.default_rng((SEED, *name.encode()))
        drawn[name] = (
            random.triangular(about.low, about.expected, about.high, DRAWS)
            if about.low < about.high
            else np.full(DRAWS, about.expected)
        )
    return drawn


def spread(bounds: Range, draws: FloatArray) -> Spread:
    """Put the bounds and the draws of one figure together.

    Parameters
    ----------
    bounds : Range
        The figure by interval arithmetic.
    draws : ndarray, shape (n,)
        The same figure from draws; may hold infinities.

    Returns
    -------
    Spread
        Percentiles are members of the draws.

    Notes
    -----
    Source: inverted empirical distribution, common practice; interpolation
    would make a NaN between a number and infinity.

    Examples
    --------
    >>> spread(Range(0.0, 5.0, 9.0), np.arange(10.0)).p90
    8.0
    """
    percents = (LOW_PERCENT, MIDDLE_PERCENT, HIGH_PERCENT)
    p10, p50, p90 = np.percentile(draws, percents, method="inverted_cdf").tolist()
    return Spread(bounds.expected, p10, p50, p90, bounds.low, bounds.high)
