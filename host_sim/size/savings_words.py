"""What the answer rests on and says, in words and as plain numbers."""

import math
from collections.abc import Iterator
from dataclasses import asdict
from typing import Any

from host_sim.size.savings import Savings
from host_sim.size.savings_assumptions import Assumptions
from host_sim.size.savings_range import DRAWS, HIGH_PERCENT, LOW_PERCENT, SEED
from host_sim.size.savings_response import CycleResponse

PROMISE = (
    "Assumed, not promised: these figures follow from the assumptions listed with "
    "them, and are no better than those."
)
SIGNIFICANT = 3
_J_PER_KWH = 3.6e6


def rounded(number: float) -> str:
    """Write a number to three significant digits or decimals.

    >>> rounded(12_345.6), rounded(-1.2345), rounded(-2e-5), rounded(math.inf)
    ('12300', '-1.23', '0', 'never')
    """
    if math.isinf(number):
        return "never"
    if abs(number) < 0.5 * 10.0**-SIGNIFICANT:
        return "0"
    decimals = SIGNIFICANT - 1 - math.floor(math.log10(abs(number)))
    return f"{round(number, decimals):.{min(max(decimals, 0), SIGNIFICANT)}f}"


def verdict(savings: Savings) -> str:
    """Say in one sentence whether anything is gained.

    Parameters
    ----------
    savings : Savings

    Returns
    -------
    str
        A loss, no gain, a doubtful gain or a gain, with its range.
    """
    total, word = savings.total_money_per_year, savings.assumptions.currency
    at = f"{rounded(abs(total.expected))} {word} a year at the expected values"
    between = (
        f"{HIGH_PERCENT - LOW_PERCENT} % of the draws lie between "
        f"{rounded(total.p10)} and {rounded(total.p90)}"
    )
    if total.expected == 0.0:
        return f"No gain at the expected values, so no payback; {between}."
    if total.expected < 0.0:
        return f"A loss of {at}, so no payback; {between}."
    if total.p10 <= 0.0:
        share = rounded(savings.draws_without_gain_percent)
        at = f"{at}, but {share} % of the draws save nothing"
    return f"A saving of {at}; {between}."


def payback_text(savings: Savings) -> str:
    """Say when the investment is paid back; empty if it is not."""
    years = savings.payback_years
    if years is None:
        return ""
    ends = f"{rounded(years.p10)} ... {rounded(years.p90)}"
    return (
        f"Payback: {rounded(years.expected)} years at the expected values, "
        f"{ends} in {HIGH_PERCENT - LOW_PERCENT} % of the draws."
    )


def step_time_text(assumptions: Assumptions) -> str:
    """Say in words which time of a step counts."""
    if assumptions.step_time == "tolerance":
        return f"until the pressure stays within +-{assumptions.tolerance}"
    if assumptions.step_time == "t50":
        return "until half of the step is first reached"
    if assumptions.step_time == "rise":
        return "from 10 % to 90 % of the step, delay and overshoot left out"
    share = assumptions.step_time.removeprefix("settling ")
    return f"until the pressure stays within {share} of the step"


def premises(savings: Savings) -> list[str]:
    """List what was assumed beyond the numbers of the file.

    Parameters
    ----------
    savings : Savings

    Returns
    -------
    list of str
        One sentence each, only those that this answer needs.
    """
    return list(_premises(savings))


def _premises(savings: Savings) -> Iterator[str]:
    assumptions, money = savings.assumptions, savings.money_per_year
    yield "One run of the command is one cycle, as many a year after as before."
    yield (
        f"The time of a step is the time {step_time_text(assumptions)}. The machine "
        "waits that long at every step, and each second gained shortens the cycle by "
        "a second."
    )
    if "machine time" in money or "labour" in money:
        yield (
            "An hour gained is worth what an hour of the machine and of labour costs: "
            "it is put to use, or not paid for."
        )
    if "air" in money:
        yield (
            "Air is what each simulated run drew from the supply, from its start to "
            f"its end, 1 m3 ANR being {assumptions.basis.anr_density_kg_m3:g} kg. The "
            "compressor's running idle is not counted."
        )
    if "material" in money:
        yield (
            "Material is lost at the stated flow as long as the pressure is more than "
            f"{assumptions.tolerance} from the set point."
        )
    yield (
        f"Each response as a whole may be off by {100 * assumptions.uncertainty:g} % "
        "either way, before and after independently of each other."
    )
    yield (
        f"10 %, 50 %, 90 %: of {DRAWS} draws, so many lie below; each assumption is "
        "drawn independently from a triangle over its range, highest at the expected "
        f"value (seed {SEED}). Lowest and highest: not left while every assumption "
        "stays within its range."
    )
    if savings.payback_years is not None:
        yield (
            "Payback is the investment over the saving of a year: no interest, no "
            "upkeep, no time lost in making the change."
        )


def notes(savings: Savings) -> list[str]:
    """List what was left out, and what deserves doubt.

    Parameters
    ----------
    savings : Savings

    Returns
    -------
    list of str
        One sentence each.
    """
    return [*_left_out(savings), *_doubts(savings)]


def _left_out(savings: Savings) -> Iterator[str]:
    for number, gain in enumerate(savings.steps, start=1):
        if gain.before_s is None:
            other = "neither does after" if gain.after_s is None else "only after does"
            yield (
                f"step {number} has no such time before ({other}): its time is not "
                "counted"
            )
    for cause in ("machine time", "labour", "air", "material"):
        if cause not in savings.money_per_year:
            why = (
                "a record does not show it"
                if cause == "air" and _air_is_priced(savings.assumptions)
                else "the assumptions do not price it"
            )
            yield f"{cause} is not counted: {why}"
    if "investment" not in savings.assumptions.stated:
        yield "no investment is stated, so no payback"


def _air_is_priced(assumptions: Assumptions) -> bool:
    return any(name.startswith("air.") for name in assumptions.stated)


def _doubts(savings: Savings) -> Iterator[str]:
    sides = (("before", savings.before), ("after", savings.after))
    if savings.before.simulated != savings.after.simulated:
        yield (
            "one response is simulated and one recorded: the error of the model "
            "counts as a difference"
        )
    for side, response in sides:
        for note in response.notes:
            yield f"{side}: {note}"


def energy_kwh(response: CycleResponse, assumptions: Assumptions) -> float | None:
    """Return the compressor energy of the air of a cycle.

    ``energy = mass * specific energy``, the latter at its expected value.

    Parameters
    ----------
    response : CycleResponse
    assumptions : Assumptions

    Returns
    -------
    float or None
        Energy [kWh]; ``None`` without air, or without a specific energy.

    Notes
    -----
    Source: common practice.
    """
    stated = assumptions.stated.get("air.specific_energy")
    if stated is None or response.air is None:
        return None
    return response.air.mass_kg * stated.range.expected / _J_PER_KWH


def savings_as_dict(savings: Savings) -> dict[str, Any]:
    """Turn the answer into numbers and words, units in the keys.

    Parameters
    ----------
    savings : Savings

    Returns
    -------
    dict
        Money is in ``currency``.
    """
    assumptions = savings.assumptions
    payback = savings.payback_years
    sides = zip(
        ("before", "after"),
        (savings.before, savings.after),
        savings.time_per_cycle_s,
        strict=True,
    )
    return {
        "title": assumptions.title,
        "promise": PROMISE,
        "verdict": verdict(savings),
        "currency": assumptions.currency,
        **{
            side: _response_as_dict(response, time_s, assumptions)
            for side, response, time_s in sides
        },
        "steps": [asdict(gain) for gain in savings.steps],
        "time_gained_per_cycle_s": asdict(savings.time_gained_per_cycle_s),
        "time_gained_per_year_h": asdict(savings.time_gained_per_year_h),
        "money_per_year": {
            cause: asdict(money) for cause, money in savings.money_per_year.items()
        },
        "total_money_per_year": asdict(savings.total_money_per_year),
        "payback_years": payback and asdict(payback),
        "draws_without_gain_percent": savings.draws_without_gain_percent,
        "assumptions": {
            "step_time": assumptions.step_time,
            "tolerance_pa": assumptions.tolerance_pa,
            "uncertainty_percent": 100 * assumptions.uncertainty,
            "as_written": {
                name: list(stated.written)
                for name, stated in assumptions.stated.items()
            },
        },
        "premises": premises(savings),
        "notes": notes(savings),
    }


def _response_as_dict(
    response: CycleResponse, time_s: float, assumptions: Assumptions
) -> dict[str, Any]:
    return {
        "name": response.name,
        "simulated": response.simulated,
        "duration_s": response.duration_s,
        "time_per_cycle_s": time_s,
        "outside_tolerance_s": response.outside_s,
        "air_used": response.air and asdict(response.air),
        "air_energy_kwh": energy_kwh(response, assumptions),
    }
