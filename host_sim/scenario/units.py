"""Quantities as text, made into SI numbers and back again.

Every unit that a user may write is affine: ``si = scale * number + offset``.
The factors come from pint; gauge pressure and reference conditions, which pint
does not know, are added here and in `reference`.
"""

import math
import re
from dataclasses import dataclass
from typing import NamedTuple

from host_sim.scenario.conversion import UnfitUnitError, Unit, plain_unit
from host_sim.scenario.reference import flow_unit
from host_sim.scenario.refusal import refusal


@dataclass(frozen=True)
class Basis:
    """What a unit alone does not tell: against what it is measured.

    Gauge pressures stand on ``atmosphere_pa``, flows "ANR" on
    ``anr_density_kg_m3``, a bare SCFM on ``scfm_density_kg_m3``, and a
    pressure given as a share of the range on ``span_pa``; ``None``: not known.
    """

    atmosphere_pa: float = 101_325.0
    anr_density_kg_m3: float = 1.185
    scfm_density_kg_m3: float | None = None
    span_pa: float | None = None


class Kind(NamedTuple):
    """A kind of quantity: its unit inside the program, and an example."""

    si: str
    example: str


KINDS = {
    "pressure": Kind("Pa", "6 bar gauge"),
    "absolute pressure": Kind("Pa", "101.325 kPa absolute"),
    "pressure difference": Kind("Pa", "0.2 bar"),
    "pressure rate": Kind("Pa/s", "5 mbar/h"),
    "share": Kind("dimensionless", "2 %"),
    "share rate": Kind("1/s", "10 %/s"),
    "time": Kind("s", "0.5 s"),
    "volume": Kind("m**3", "2.5 L"),
    "length": Kind("m", "3 m"),
    "current": Kind("mA", "12 mA"),
    "current rate": Kind("mA/s", "0.01 mA/h"),
    "frequency": Kind("Hz", "2 Hz"),
    "temperature": Kind("K", "20 degC"),
    "conductance": Kind("m**3/(s*Pa)", "0.35 dm3/(s.bar)"),
    "flow": Kind("kg/s", "90 l/min ANR"),
    "ratio": Kind("dimensionless", "30 %"),
    "rate": Kind("1/s", "10 %/s"),
    "heat conductance": Kind("W/K", "2 W/K"),
    "density": Kind("kg/m**3", "1.185 kg/m3"),
    "gas constant": Kind("J/(kg*K)", "287.05 J/(kg K)"),
}

_NUMBER = re.compile(r"\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)(?![\d.,])(.*)")
_NOT_FINITE = re.compile(r"\s*[-+]?(nan|inf|infinity)\b", re.IGNORECASE)
_REFERENCED = re.compile(
    r"(?P<unit>.+?)(?:\s+(?P<word>gauge|absolute|abs)|\s*\((?P<letter>[ga])\)"
    r"|(?<=psi|bar)(?P<suffix>[ga]))"
)


STANDARD = Basis()


def parse(text: object, kind: str, where: str, basis: Basis = STANDARD) -> float:
    """Read a quantity with its unit: ``si = scale * number + offset``.

    Parameters
    ----------
    text : object
        What the user wrote: text such as "2.5 L". A bare number will do only
        for a pure ratio.
    kind : str
        A key of `KINDS`.
    where : str
        File and key path, for the error.
    basis : Basis
        Atmosphere, reference densities and pressure span.

    Returns
    -------
    float
        In the unit ``KINDS[kind].si``; pressures absolute.

    Raises
    ------
    InputError
        No number, not finite, no unit, or a unit of another kind.

    Notes
    -----
    Source: factors of pint; ISO 80000-1 for the point between units.

    Examples
    --------
    >>> parse("6 bar gauge", "pressure", "supply.pressure")
    701325.0
    >>> parse("0.35 dm3/(s.bar)", "conductance", "tube.conductance")
    3.5e-09
    """
    if isinstance(text, bool) or not isinstance(text, str | int | float):
        raise refusal(where, text, "not a quantity", _write(kind))
    number, unit_text = _split(text, kind, where)
    unit = _fit(unit_text, kind, where, text, basis)
    quantity = unit.scale * number + unit.offset
    if not math.isfinite(quantity):
        raise refusal(where, text, "not a finite number", _write(kind))
    _refuse_unphysical(quantity, text, kind, where, basis)
    return quantity


def in_unit(quantity_si: float, kind: str, unit: str, basis: Basis = STANDARD) -> float:
    """Turn a number of the program into a unit for people.

    Parameters
    ----------
    quantity_si : float
        In the unit ``KINDS[kind].si``.
    kind, unit : str
        A key of `KINDS` and a unit of that kind.
    basis : Basis
        As for `parse`.

    Returns
    -------
    float
        ``(si - offset) / scale``.

    Raises
    ------
    InputError
        The unit is not one of that kind.

    Notes
    -----
    Source: inverse of `parse`.

    Examples
    --------
    >>> in_unit(701_325.0, "pressure", "psi gauge")
    87.0226
    """
    scale, offset = _fit(unit, kind, "unit of display", unit, basis)
    # Adding zero turns a minus zero into a plain one.
    return (quantity_si - offset) / scale + 0.0


def format_quantity(
    quantity_si: float,
    kind: str,
    unit: str,
    basis: Basis = STANDARD,
    digits: int = 4,
) -> str:
    """Write a quantity with its unit, for tables and messages.

    Parameters
    ----------
    quantity_si : float
        In the unit ``KINDS[kind].si``.
    kind, unit : str
        A key of `KINDS` and a unit of that kind.
    basis : Basis
        As for `parse`.
    digits : int
        Significant digits.

    Returns
    -------
    str
        Text that `parse` reads back.

    Raises
    ------
    InputError
        The unit is not one of that kind.

    Notes
    -----
    Source: inverse of `parse`.

    Examples
    --------
    >>> format_quantity(701_325.0, "pressure", "bar gauge")
    '6 bar gauge'
    """
    return f"{in_unit(quantity_si, kind, unit, basis):.{digits}g} {unit}".rstrip()


def _write(kind: str) -> str:
    return f"write for example {KINDS[kind].example!r}"


def _split(text: str | float, kind: str, where: str) -> tuple[float, str]:
    if not isinstance(text, str):
        return float(text), ""
    if _NOT_FINITE.match(text):
        raise refusal(where, text, "not a finite number", _write(kind))
    found = _NUMBER.fullmatch(text)
    if found:
        return float(found[1]), found[2].strip()
    if re.match(r"\s*[-+]?\d+,\d", text):
        raise refusal(where, text, "decimal comma", "write a decimal point")
    raise refusal(where, text, "does not begin with a number", _write(kind))


def _refuse_unphysical(
    quantity_si: float, text: object, kind: str, where: str, basis: Basis
) -> None:
    if kind in ("pressure", "absolute pressure") and quantity_si < 0.0:
        vacuum = -basis.atmosphere_pa / 1e5
        remedy = f"write a pressure above vacuum ({vacuum:.4g} bar gauge)"
        raise refusal(where, text, "below vacuum", remedy)
    if kind == "temperature" and quantity_si <= 0.0:
        remedy = "write a temperature above -273.15 degC"
        raise refusal(where, text, "below absolute zero", remedy)


def _fit(unit: str, kind: str, where: str, said: object, basis: Basis) -> Unit:
    try:
        if kind in ("pressure", "absolute pressure"):
            return _pressure_unit(unit, kind, basis)
        if kind in ("share", "share rate"):
            return _share_unit(unit, kind, basis)
        if kind == "pressure difference" and _REFERENCED.fullmatch(unit):
            why = "a difference is neither gauge nor absolute"
            raise UnfitUnitError(why, _write(kind))
        if kind == "flow":
            densities = basis.anr_density_kg_m3, basis.scfm_density_kg_m3
            return flow_unit(unit, *densities)
        return plain_unit(unit, KINDS[kind].si)
    except UnfitUnitError as error:
        why = f"{error.why} for a {kind}" if not error.remedy else error.why
        raise refusal(where, said, why, error.remedy or _write(kind)) from None


def _pressure_unit(text: str, kind: str, basis: Basis) -> Unit:
    found = _REFERENCED.fullmatch(text)
    if not found:
        plain_unit(text, "Pa")
        why = f"{text!r} is neither gauge nor absolute"
        raise UnfitUnitError(why, f"write '{text} gauge' or '{text} absolute'")
    scale = plain_unit(found["unit"], "Pa").scale
    if (found["word"] or found["letter"] or found["suffix"])[0] == "a":
        return Unit(scale)
    if kind == "absolute pressure":
        why = "the atmosphere itself cannot be a gauge pressure"
        raise UnfitUnitError(why, _write(kind))
    return Unit(scale, basis.atmosphere_pa)


def _share_unit(text: str, kind: str, basis: Basis) -> Unit:
    try:
        return plain_unit(text, KINDS[kind].si)
    except UnfitUnitError:
        if basis.span_pa is None:
            raise
    pressure = "Pa" if kind == "share" else "Pa/s"
    return Unit(plain_unit(text, pressure).scale / basis.span_pa)
