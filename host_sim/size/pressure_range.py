"""Which pressure range to pick, and how finely it can be set."""

from collections.abc import Iterable
from dataclasses import dataclass

from firmware_model.law.layout import FULL
from host_sim.scenario.load import Scenario
from host_sim.size.stroke import wanted_of

FULL_SCALES_BAR = (1.0, 1.6, 2.5, 4.0, 6.0, 10.0, 16.0, 25.0, 40.0)
"""Usual full scales, gauge: steps of about 1.6 (common practice, no source)."""
PA_PER_BAR = 1e5


@dataclass(frozen=True)
class PressureRange:
    """A range of controlled pressure and its steps.

    ``counts_pa`` is one count of the law, ``converter_pa`` one step of a
    converter whose sensor spans just the range; ``None`` for an ideal one.
    """

    low_pa: float
    high_pa: float
    highest_setpoint_pa: float
    counts_pa: float
    converter_pa: float | None

    @property
    def used(self) -> float:
        """Highest set point as a share of the range."""
        return (self.highest_setpoint_pa - self.low_pa) / (self.high_pa - self.low_pa)


def setpoints_pa(scenario: Scenario) -> tuple[float, float]:
    """Find the lowest and highest set point that are asked for.

    ``p = low + span clip((I - start)/(end - start))`` of the command's currents,
    and the ends of the wanted strokes.

    Parameters
    ----------
    scenario : Scenario
        With ``wanted``.

    Returns
    -------
    tuple of float
        Absolute pressures [Pa].

    Examples
    --------
    >>> from host_sim.scenario.load import load_scenario, shipped_scenario_path
    >>> low, high = setpoints_pa(load_scenario(shipped_scenario_path()))
    >>> low - 101_325, high - 101_325
    (0.0, 450000.0)
    """
    command, wanted = scenario.law.command, wanted_of(scenario)
    low_pa, high_pa = scenario.pressure_range_pa
    asked = [wanted.start_pa, wanted.end_pa]
    for current_ma in scenario.profile.currents_ma:
        share = (current_ma - command.start_ma) / (command.end_ma - command.start_ma)
        share = 1.0 - share if command.reverse else share
        share = min(max(share, command.setpoint_low), command.setpoint_high)
        asked.append(low_pa + share * (high_pa - low_pa))
    return min(asked), max(asked)


def pick_range(scenario: Scenario) -> PressureRange | None:
    """Pick the least usual range that holds every set point.

    Parameters
    ----------
    scenario : Scenario
        With ``wanted``.

    Returns
    -------
    PressureRange or None
        From the atmosphere up; ``None`` when the set points are above all.

    Notes
    -----
    Source: the law's 25 000 counts; `FULL_SCALES_BAR`.
    """
    zero_pa = scenario.plant.arrangement.air.atmosphere_pa
    scales = [(zero_pa, zero_pa + PA_PER_BAR * bar) for bar in FULL_SCALES_BAR]
    return least_range(scenario, scales)


def least_range(
    scenario: Scenario, ranges: Iterable[tuple[float, float]]
) -> PressureRange | None:
    """Pick the smallest of some ranges that holds every set point.

    Parameters
    ----------
    scenario : Scenario
        With ``wanted``.
    ranges : iterable of (float, float)
        Absolute pressures [Pa].

    Returns
    -------
    PressureRange or None
        ``None`` when none holds them.
    """
    lowest_pa, highest_pa = setpoints_pa(scenario)
    bits = scenario.plant.sensing.pressure.bits
    # A range in another unit may miss a set point by its last digit.
    slack_pa = 1e-6 * (highest_pa - lowest_pa)
    holding = [
        (high_pa - low_pa, low_pa, high_pa)
        for low_pa, high_pa in ranges
        if low_pa <= lowest_pa + slack_pa and highest_pa - slack_pa <= high_pa
    ]
    if not holding:
        return None
    span_pa, low_pa, high_pa = min(holding)
    converter_pa = None if bits is None else span_pa / (2**bits - 1)
    return PressureRange(low_pa, high_pa, highest_pa, span_pa / FULL, converter_pa)
