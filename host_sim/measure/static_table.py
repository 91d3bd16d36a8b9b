"""Readings of a pressure at rest, travelled up and down over cycles."""

from dataclasses import dataclass

import numpy as np

from host_sim.errors import InputError
from host_sim.measure.curve import FloatArray

FEWEST_POINTS = 3
SAME_POINT = 0.25
"""Inputs of one point may differ by this share of the way to the next point."""


@dataclass(frozen=True)
class StaticRange:
    """What pressure is meant by what current; either way round.

    ``p = p0 + (i - i0) / (i1 - i0) (p1 - p0)``; the pressures in any one unit,
    as long as the readings have the same.

    Examples
    --------
    >>> StaticRange((4.0, 20.0), (3.0, 15.0)).ideal_pa(np.array([12.0]))
    array([9.])
    """

    current_ma: tuple[float, float]
    pressure_pa: tuple[float, float]

    @property
    def span_pa(self) -> float:
        """Size of the output span, positive [Pa]."""
        return abs(self.pressure_pa[1] - self.pressure_pa[0])

    @property
    def is_reverse(self) -> bool:
        """Whether more current means less pressure."""
        low_ma, high_ma = self.current_ma
        low_pa, high_pa = self.pressure_pa
        return (high_ma - low_ma) * (high_pa - low_pa) < 0.0

    def input_percent(self, current_ma: FloatArray) -> FloatArray:
        """Place a current on the input span [%]."""
        low_ma, high_ma = self.current_ma
        share: FloatArray = (current_ma - low_ma) / (high_ma - low_ma)
        return 100.0 * share

    def current_at_ma(self, input_percent: float) -> float:
        """Find the current of a percentage of the input span [mA]."""
        low_ma, high_ma = self.current_ma
        return low_ma + input_percent / 100.0 * (high_ma - low_ma)

    def ideal_pa(self, current_ma: FloatArray) -> FloatArray:
        """Find the pressure that a current asks for [Pa]."""
        low_pa, high_pa = self.pressure_pa
        share = self.input_percent(current_ma) / 100.0
        ideal: FloatArray = low_pa + share * (high_pa - low_pa)
        return ideal

    def error_percent(
        self, current_ma: FloatArray, reading_pa: FloatArray
    ) -> FloatArray:
        """Measure readings against the ideal line [% of span, + is too high]."""
        error: FloatArray = (reading_pa - self.ideal_pa(current_ma)) / self.span_pa
        return 100.0 * error


@dataclass(frozen=True)
class Travel:
    """One way through all points, in the order of rising input percentage.

    ``name`` tells people which: "cycle 2 up".
    """

    name: str
    rising: bool
    current_ma: FloatArray
    reading_pa: FloatArray


@dataclass(frozen=True)
class StaticTable:
    """All travels of a calibration over the same points.

    Raises
    ------
    InputError
        No travel, fewer than 3 points, travels of unequal length, or a point
        whose input differs from travel to travel.
    """

    span: StaticRange
    travels: tuple[Travel, ...]

    def __post_init__(self) -> None:
        """Refuse travels that do not pass the same points."""
        if not self.travels:
            raise InputError("calibration: no readings; give at least one travel")
        first = self.travels[0]
        if len(first.current_ma) < FEWEST_POINTS:
            raise InputError(
                f"{first.name}: {len(first.current_ma)} points; at least "
                f"{FEWEST_POINTS} are needed; measure more inputs"
            )
        for travel in self.travels[1:]:
            self._check_length(first, travel)
        for travel in self.travels:
            self._check_inputs(travel)

    @property
    def input_percent(self) -> FloatArray:
        """Mean input of each point over all travels [% of span]."""
        inputs = np.array([travel.current_ma for travel in self.travels])
        return self.span.input_percent(inputs.mean(axis=0))

    def errors_percent(self, *, rising: bool) -> FloatArray:
        """Errors of all travels one way, shape (travels, points) [% of span]."""
        errors = [
            self.span.error_percent(travel.current_ma, travel.reading_pa)
            for travel in self.travels
            if travel.rising == rising
        ]
        return np.array(errors).reshape(len(errors), len(self.travels[0].current_ma))

    @staticmethod
    def _check_length(first: Travel, travel: Travel) -> None:
        here, there = len(travel.current_ma), len(first.current_ma)
        if here != there:
            raise InputError(
                f"{travel.name}: {here} points where {first.name} has {there}; every "
                "way up and down must pass the same points; complete it or leave "
                "that cycle out"
            )

    def _check_inputs(self, travel: Travel) -> None:
        points = self.input_percent
        nearest = float(np.diff(points).min())
        off = np.abs(self.span.input_percent(travel.current_ma) - points)
        k = int(np.argmax(off))
        if nearest <= 0.0 or off[k] > SAME_POINT * nearest:
            mean_ma = self.span.current_at_ma(float(points[k]))
            raise InputError(
                f"{travel.name}: point {k + 1} is {travel.current_ma[k]:g} mA where "
                f"all travels together have {mean_ma:g} mA; every way must pass the "
                "same points; put the input right or leave that cycle out"
            )
