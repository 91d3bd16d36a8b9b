"""Amounts and prices of an assumptions file, made into SI numbers.

Money has no SI unit: the currency is a word that the user chose, and a price is
so much of it for a second, a joule, a kilogram or a cubic metre. `conversion`
and `reference` bring the factors of everything else.
"""

import math
import re
from collections.abc import Callable

from host_sim.scenario.conversion import UnfitUnitError, plain_unit
from host_sim.scenario.reference import flow_unit
from host_sim.scenario.refusal import refusal
from host_sim.scenario.units import Basis
from host_sim.size.savings_range import Range

Scale = Callable[[str], float]
"""From the text of a unit to its size in SI; raises `UnfitUnitError`."""

_AMOUNT = re.compile(
    r"\s*(?P<number>[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s+(?P<unit>\S.*?)\s*"
)


def plain(si: str) -> Scale:
    """Read units of one dimension.

    >>> plain("m**3")("mL")
    1e-06
    """
    return lambda unit: plain_unit(unit, si).scale


def money(currency: str) -> Scale:
    """Read the one currency of the file; nothing is converted.

    >>> money("credits")("credits")
    1.0
    """

    def scale(unit: str) -> float:
        if unit != currency:
            raise UnfitUnitError(
                f"{unit!r} is not the file's currency {currency!r}",
                "currencies are not converted: write all money in one",
            )
        return 1.0

    return scale


def air_mass(basis: Basis) -> Scale:
    """Read amounts of air, by mass or by volume at a reference [kg].

    >>> air_mass(Basis())("m3 ANR")
    1.185
    """

    def scale(unit: str) -> float:
        volume, _, state = unit.partition(" ")
        flow = f"{volume}/s {state}".strip()
        densities = basis.anr_density_kg_m3, basis.scfm_density_kg_m3
        try:
            return flow_unit(flow, *densities).scale
        except UnfitUnitError:
            raise UnfitUnitError(
                f"{unit!r} is no amount of air at a stated reference",
                "write 'm3 ANR', 'Nm3', 'kg' or 'ft3 (60 degF, 14.696 psia)'",
            ) from None

    return scale


def per(top: Scale, bottom: Scale) -> Scale:
    """Read one unit over another, ``scale(top) / scale(bottom)``.

    >>> per(money("credits"), plain("s"))("credits/h")
    0.000277778
    """

    def scale(unit: str) -> float:
        above, slash, below = (part.strip() for part in unit.partition("/"))
        if not slash:
            raise UnfitUnitError(f"{unit!r} is not one unit over another", "")
        return top(above) / bottom(below)

    return scale


def read_amount(said: object, scale: Scale | None, where: str, example: str) -> float:
    """Read a number that must not be negative, with its unit.

    Parameters
    ----------
    said : object
        Text such as "40 credits/h"; a bare number where there is no scale.
    scale : callable or None
        What makes SI of the unit; ``None`` for what is counted.
    where : str
        File and key path, for the error.
    example : str
        A value that would do, for the error.

    Returns
    -------
    float
        In SI and the file's currency.

    Raises
    ------
    InputError
        No number, no unit, another unit, negative or not finite.

    Notes
    -----
    Source: factors of pint.

    Examples
    --------
    >>> read_amount("3 h", plain("s"), "file: key", "1 h")
    10800.0
    """
    remedy = f"write for example {example}"
    if scale is None:
        if isinstance(said, bool) or not isinstance(said, int | float):
            raise refusal(where, said, "not a bare number", remedy)
        amount = float(said)
    else:
        amount = _with_unit(said, scale, where, remedy)
    if not math.isfinite(amount):
        raise refusal(where, said, "not a finite number", remedy)
    if amount < 0.0:
        raise refusal(where, said, "negative", "write zero or more")
    return amount


def _with_unit(said: object, scale: Scale, where: str, remedy: str) -> float:
    found = _AMOUNT.fullmatch(said) if isinstance(said, str) else None
    if found is None:
        raise refusal(where, said, "not a number, a space and a unit", remedy)
    try:
        return float(found["number"]) * scale(found["unit"])
    except UnfitUnitError as error:
        raise refusal(where, said, error.why, error.remedy or remedy) from None


def read_range(said: object, scale: Scale | None, where: str, example: str) -> Range:
    """Read one value, or [low, expected, high].

    Parameters
    ----------
    said, scale, where, example
        As for `read_amount`; ``said`` may be a list of three.

    Returns
    -------
    Range

    Raises
    ------
    InputError
        As `read_amount`, a list of another length, or one that does not rise.

    Notes
    -----
    Source: three-point estimate, common practice.

    Examples
    --------
    >>> read_range([1, 2, 4], None, "file: cycles", "1000")
    Range(low=1.0, expected=2.0, high=4.0)
    """
    if not isinstance(said, list):
        amount = read_amount(said, scale, where, example)
        return Range(amount, amount, amount)
    if len(said) != 3:
        why = f"a list of {len(said)}"
        raise refusal(where, said, why, "write one value, or [low, expected, high]")
    low, expected, high = (
        read_amount(one, scale, f"{where}, {name}", example)
        for one, name in zip(said, ("low", "expected", "high"), strict=True)
    )
    if not low <= expected <= high:
        remedy = "sort them: [low, expected, high]"
        raise refusal(where, said, "low, expected, high do not rise", remedy)
    return Range(low, expected, high)
