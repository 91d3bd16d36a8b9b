"""What a better response is worth: time, money, payback, each as a range.

The money is ``cycles * (time gained * hourly costs + air spared * its price +
material spared * its price)``, before minus after, so that a worse response
gives a negative saving by the same formulas.
"""

import functools
import operator
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

import numpy as np

from host_sim.scenario.load import Scenario, load_scenario
from host_sim.scenario.refusal import refusal
from host_sim.scenario.units import STANDARD
from host_sim.size.savings_assumptions import Assumptions, load_assumptions
from host_sim.size.savings_range import FloatArray, Range, Spread, draw, spread
from host_sim.size.savings_response import (
    CycleResponse,
    check_comparable,
    recorded_response,
    simulate_response,
)

# One formula for both: intervals give the bounds, arrays the draws.
Number = TypeVar("Number", Range, FloatArray)


@dataclass(frozen=True)
class ToSimulate:
    """A scenario that waits to be run, and what to call it."""

    name: str
    scenario: Scenario


@dataclass(frozen=True)
class Case:
    """All input of a comparison, read and checked."""

    before: ToSimulate | CycleResponse
    after: ToSimulate | CycleResponse
    assumptions: Assumptions

    @property
    def ticks(self) -> int:
        """How many ticks are to be simulated."""
        sides = (self.before, self.after)
        return sum(s.scenario.ticks for s in sides if isinstance(s, ToSimulate))


@dataclass(frozen=True)
class StepGain:
    """The time that counts of one step, before and after [s].

    ``None`` where the response has none; such a step is not counted.
    """

    step_time_s: float
    setpoint_from_pa: float
    setpoint_to_pa: float
    before_s: float | None
    after_s: float | None

    @property
    def gained_s(self) -> float | None:
        """Time gained; ``None`` if the step is not counted [s]."""
        if self.before_s is None or self.after_s is None:
            return None
        return self.before_s - self.after_s


@dataclass(frozen=True)
class Savings:
    """The answer; positive is saved, negative is lost.

    ``money_per_year`` has one entry for each cause that the assumptions price
    and the responses show, in the file's currency. ``payback_years`` is
    ``None`` when no investment is stated or nothing is saved at the expected
    values; infinite where a draw saves nothing.
    ``draws_without_gain_percent`` counts draws in which nothing is saved.
    """

    assumptions: Assumptions
    before: CycleResponse
    after: CycleResponse
    steps: tuple[StepGain, ...]
    time_per_cycle_s: tuple[float, float]
    time_gained_per_cycle_s: Spread
    time_gained_per_year_h: Spread
    money_per_year: dict[str, Spread]
    total_money_per_year: Spread
    payback_years: Spread | None
    draws_without_gain_percent: float


def read_case(before: Path, after: Path, assumptions: Path) -> Case:
    """Read and check all files before any long work.

    Parameters
    ----------
    before, after : Path
        Each a scenario (.toml) or a record (.csv).
    assumptions : Path
        As `load_assumptions`; gauge pressures and volumes of air in it stand
        on the air of the first scenario.

    Returns
    -------
    Case

    Raises
    ------
    InputError
        Anything wrong with one of the files.

    Notes
    -----
    Source: common practice.
    """
    scenarios = {
        path: load_scenario(path) for path in (before, after) if _is_scenario(path)
    }
    bases = [scenario.basis for scenario in scenarios.values()]
    assumed = load_assumptions(assumptions, bases[0] if bases else STANDARD)
    first, second = (
        ToSimulate(str(path), scenarios[path])
        if path in scenarios
        else recorded_response(path, assumed)
        for path in (before, after)
    )
    return Case(first, second, assumed)


def _is_scenario(path: Path) -> bool:
    ending = path.suffix.lower()
    if ending not in (".toml", ".csv"):
        why, remedy = "neither scenario nor record", "give a .toml or a .csv file"
        raise refusal(str(path), None, why, remedy)
    return ending == ".toml"


def estimate_savings(
    case: Case, each_tick: Callable[[int], None] | None = None
) -> Savings:
    """Simulate what waits for it, compare, value the difference.

    Parameters
    ----------
    case : Case
    each_tick : callable, optional
        Called with the number of ticks done of each run.

    Returns
    -------
    Savings

    Raises
    ------
    InputError
        Responses that cannot be compared, or no step with a time in both.
    KeyboardInterrupt
        A run was stopped.

    Notes
    -----
    Source: common practice; simple payback without interest.
    """
    before, after = (
        simulate_response(side.name, side.scenario, case.assumptions, each_tick)
        if isinstance(side, ToSimulate)
        else side
        for side in (case.before, case.after)
    )
    return value_responses(before, after, case.assumptions)


def value_responses(
    before: CycleResponse, after: CycleResponse, assumptions: Assumptions
) -> Savings:
    """Value the difference of two measured responses.

    Parameters
    ----------
    before, after : CycleResponse
    assumptions : Assumptions

    Returns
    -------
    Savings

    Raises
    ------
    InputError
        As `estimate_savings`, or nothing that has a price was measured.

    Notes
    -----
    Source: common practice.
    """
    check_comparable(before, after)
    steps = _step_gains(before, after, assumptions.step_time)
    times_s = _cycle_times_s(steps)
    measured = _Measured(times_s, before, after)
    off = assumptions.uncertainty
    ranges = {name: stated.range for name, stated in assumptions.stated.items()}
    ranges |= dict.fromkeys(("before", "after"), Range(1.0 - off, 1.0, 1.0 + off))
    drawn = draw(ranges)
    bounds, draws = measured.money(ranges), measured.money(drawn)
    if not bounds:
        why, remedy = "prices only air, which a record does not show", "price time"
        raise refusal(assumptions.file, None, why, remedy)
    total, totals = _sum(bounds), _sum(draws)
    gained, gains = measured.gained_s(ranges), measured.gained_s(drawn)
    return Savings(
        assumptions=assumptions,
        before=before,
        after=after,
        steps=steps,
        time_per_cycle_s=times_s,
        time_gained_per_cycle_s=spread(gained, gains),
        time_gained_per_year_h=spread(
            _in_hours(gained, ranges), _in_hours(gains, drawn)
        ),
        money_per_year={cause: spread(bounds[cause], draws[cause]) for cause in bounds},
        total_money_per_year=spread(total, totals),
        payback_years=_payback(
            ranges.get("investment"), drawn.get("investment"), total, totals
        ),
        draws_without_gain_percent=100.0 * float(np.mean(totals <= 0.0)),
    )


def _step_gains(
    before: CycleResponse, after: CycleResponse, word: str
) -> tuple[StepGain, ...]:
    gains = tuple(
        StepGain(
            step.step_time_s,
            step.setpoint_from_pa,
            step.setpoint_to_pa,
            before_s,
            after_s,
        )
        for step, before_s, after_s in zip(
            before.steps,
            before.step_times_s(word),
            after.step_times_s(word),
            strict=True,
        )
    )
    for number, gain in enumerate(gains, start=1):
        if gain.after_s is None and gain.before_s is not None:
            # Leaving the step out would hide that the change spoilt it.
            why = f"step {number} has no {word!r} time here, and one in {before.name}"
            raise refusal(after.name, None, why, _REMEDY)
    if all(gain.gained_s is None for gain in gains):
        why = f"no step has a {word!r} time both here and in {before.name}"
        raise refusal(after.name, None, why, _REMEDY)
    return gains


_REMEDY = (
    "lengthen the hold after the step, widen response.tolerance or choose another "
    "response.time"
)


def _cycle_times_s(steps: tuple[StepGain, ...]) -> tuple[float, float]:
    counted = [gain for gain in steps if gain.gained_s is not None]
    return (
        sum(gain.before_s or 0.0 for gain in counted),
        sum(gain.after_s or 0.0 for gain in counted),
    )


@dataclass(frozen=True)
class _Measured:
    """What was measured, and the formulas that value it.

    In ``q``, "before" and "after" are the factors by which the measured
    response as a whole may be off; all else is named as in the file.
    """

    times_s: tuple[float, float]
    before: CycleResponse
    after: CycleResponse

    def gained_s(self, q: Mapping[str, Number]) -> Number:
        """Return the time gained in a cycle [s]."""
        return _less(q, *self.times_s)

    def money(self, q: Mapping[str, Number]) -> dict[str, Number]:
        """Return the money of each cause in a year."""
        cycles = q["cycles_per_year"]
        yearly_s = self.gained_s(q) * cycles
        money = {}
        if "machine_hour_cost" in q:
            money["machine time"] = yearly_s * q["machine_hour_cost"]
        if "labour_hour_cost" in q:
            money["labour"] = yearly_s * q["labour_hour_cost"]
        price = _air_price(q)
        if price is not None and self.before.air and self.after.air:
            masses_kg = self.before.air.mass_kg, self.after.air.mass_kg
            money["air"] = _less(q, *masses_kg) * cycles * price
        if "material.flow" in q:
            outside_s = _less(q, self.before.outside_s, self.after.outside_s)
            price = q["material.flow"] * q["material.price"]
            money["material"] = outside_s * cycles * price
        return money


def _less(q: Mapping[str, Number], before: float, after: float) -> Number:
    return q["before"] * before - q["after"] * after


def _air_price(q: Mapping[str, Number]) -> Number | None:
    """Return the price of a kilogram of air, if the file states one."""
    if "air.price" in q:
        return q["air.price"]
    if "air.energy_price" in q:
        return q["air.specific_energy"] * q["air.energy_price"]
    return None


def _in_hours(cycle_s: Number, q: Mapping[str, Number]) -> Number:
    return cycle_s * q["cycles_per_year"] * (1.0 / 3600.0)


def _sum(money: dict[str, Number]) -> Number:
    return functools.reduce(operator.add, money.values())


def _payback(
    investment: Range | None,
    investments: FloatArray | None,
    total: Range,
    totals: FloatArray,
) -> Spread | None:
    if investment is None or investments is None or total.expected <= 0.0:
        return None
    never = np.full_like(totals, np.inf)
    years = np.divide(investments, totals, out=never, where=totals > 0.0)
    longest = investment.high / total.low if total.low > 0.0 else np.inf
    bounds = Range(
        investment.low / total.high, investment.expected / total.expected, longest
    )
    return spread(bounds, years)
