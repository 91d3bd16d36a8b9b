"""Every figure that acceptance knows: its name, unit and meaning, in one table."""

import math
from dataclasses import dataclass
from typing import NamedTuple

NEVER = math.inf
"""A time, or an input, within which what was waited for did not happen."""
AT_MOST, AT_LEAST = "at most", "at least"


class Known(NamedTuple):
    """What a figure of a name is.

    ``kind`` is a key of `units.KINDS`, ``unit`` what people read, ``key`` the
    same as part of a name; the limit of a figure is its largest or least.
    """

    kind: str
    unit: str
    key: str
    sense: str
    meaning: str


def _of_span(meaning: str) -> Known:
    return Known("share", "% of span", "percent_of_span", AT_MOST, meaning)


def _of_input(meaning: str) -> Known:
    return Known("ratio", "% of input span", "percent_of_input_span", AT_MOST, meaning)


def _time(meaning: str) -> Known:
    return Known("time", "s", "s", AT_MOST, meaning)


def _frequency(meaning: str) -> Known:
    return Known("frequency", "Hz", "hz", AT_LEAST, meaning)


STATIC = {
    "inaccuracy": _of_span("largest error of any reading"),
    "measured_error": _of_span("largest error of the averages up and down"),
    "hysteresis": _of_span("largest difference of the averages down and up"),
    "hysteresis_single_cycle": _of_span("the same, of the worst single cycle"),
    "hysteresis_alone": _of_span("hysteresis less the dead band"),
    "repeatability": _of_span("largest spread at one point from one direction"),
    "linearity_independent": _of_span("average curve from the best straight line"),
    "linearity_terminal": _of_span("average curve from the line through its ends"),
    "linearity_zero_based": _of_span("average curve from the best line kept at 0 %"),
    "linearity_least_squares": _of_span("average curve from its regression line"),
    "zero_error": _of_span("average error at 0 % input"),
    "span_error": _of_span("average error at 100 % input less that at 0 %"),
}
FIGURES = {
    **STATIC,
    "dead_band": _of_input("input after a reversal until the pressure moves"),
    "resolution": _of_input("input the same way until the pressure moves"),
    "dead_time": _time("from a step to the first 2 % of it"),
    "rise_time": _time("from 10 % to 90 % of a step"),
    "settling_time": _time("from a step until it stays within 2 % of it"),
    "overshoot": Known(
        "ratio", "% of step", "percent_of_step", AT_MOST, "furthest beyond a step"
    ),
    "steady_error": _of_span("pressure wanted less pressure, at rest after a step"),
    "bandwidth": _frequency("where the gain has fallen by 3 dB"),
    "phase_90_frequency": _frequency("where the phase has fallen to -90 degrees"),
    "resonance": Known(
        "ratio", "% of gain", "percent_of_gain", AT_MOST, "largest gain above the first"
    ),
    "supply_effect": _of_span("change at rest over the supply pressures tried"),
    "supply_excursion": _of_span("furthest on the way after a change of supply"),
    "drift": _of_span("mean of the last tenth less mean of the first"),
    "hunting": _of_span("peak to peak under a constant input"),
    "restart_excursion": _of_span("furthest from rest after a warm restart"),
    "restart_time": _time("from a warm restart until within 1 % of span again"),
    "power_cut_excursion": _of_span("highest above rest after power has returned"),
    "power_cut_time": _time("from power's return until within 1 % of span again"),
    "droop": _of_span("fall of the pressure under the forward flows tried"),
    "relief_rise": _of_span("rise of the pressure under the relief flows tried"),
    "leakage": Known(
        "flow", "l/min ANR", "l_min_anr", AT_MOST, "air from the supply at rest"
    ),
}
"""Name to what it is; limits and reports go by these names."""


@dataclass(frozen=True)
class Figure:
    """One number that acceptance measured.

    Attributes
    ----------
    name : str
        A key of `FIGURES`.
    text : str
        Where and how it was found, or why it was not.
    measured : float or None
        In the unit of its name, with its sign; None: not measured.
    """

    name: str
    text: str
    measured: float | None

    @property
    def known(self) -> Known:
        """What a figure of this name is."""
        return FIGURES[self.name]

    @property
    def unit(self) -> str:
        """Unit of ``measured``, for people."""
        return self.known.unit
