"""What current means what pressure, as text: "4..20 mA = 3..15 psig"."""

import re
from typing import NamedTuple

from host_sim.errors import InputError
from host_sim.measure.static_table import StaticRange
from host_sim.scenario.refusal import refusal
from host_sim.scenario.units import Basis, parse

EXAMPLE = "4..20 mA = 0..6 bar gauge"
_NUMBER = r"[-+]?\d+(?:[.,]\d+)?"
_ENDS = rf"\s*({_NUMBER})\s*(?:\.{{2,3}}|-|to)\s*({_NUMBER})\s*([^\d=.,][^=]*?)\s*"
_RANGE = re.compile(f"{_ENDS}={_ENDS}")


class PressureUnit(NamedTuple):
    """A unit as written; its kind says whether it names its zero.

    ``kind`` is "pressure" for one that is gauge or absolute, "pressure
    difference" for one that says neither.
    """

    text: str
    kind: str

    @property
    def plain(self) -> str:
        """The unit of a difference: "psi" for "psig"."""
        first = self.text.split()[0]
        return re.sub(r"\([ga]\)$|(?<=psi|bar)[ga]$", "", first)


class StatedRange(NamedTuple):
    """A range in Pa, and the unit that its pressures were written in."""

    span: StaticRange
    unit: PressureUnit


def pressure_unit(text: str) -> PressureUnit | None:
    """Find out what kind of pressure a unit is; None: of none.

    Examples
    --------
    >>> pressure_unit("psig").kind, pressure_unit("kPa").kind, pressure_unit("mA")
    ('pressure', 'pressure difference', None)
    """
    for kind in ("pressure", "pressure difference"):
        try:
            parse(f"1 {text}", kind, "")
        except InputError:
            continue
        return PressureUnit(text, kind)
    return None


def read_range(text: str, where: str, basis: Basis) -> StatedRange:
    """Read a range; a second pressure below the first acts in reverse.

    Parameters
    ----------
    text : str
        Such as "4..20 mA = 20..100 kPa".
    where : str
        For the error.
    basis : Basis
        The atmosphere of gauge pressures.

    Returns
    -------
    StatedRange

    Raises
    ------
    InputError
        Not of that form, a unit of another kind, or two equal ends.

    Notes
    -----
    Source: own format.

    Examples
    --------
    >>> from host_sim.scenario.units import STANDARD
    >>> stated = read_range("4..20 mA = 1..0 bar gauge", "range", STANDARD)
    >>> stated.span.pressure_pa, stated.span.is_reverse
    ((201325.0, 101325.0), True)
    """
    found = _RANGE.fullmatch(text)
    if not found:
        raise refusal(where, text, "not a range", f"write for example {EXAMPLE!r}")
    low, high, current_unit, low_out, high_out, written = found.groups()
    unit = pressure_unit(written)
    if unit is None:
        why = f"{written!r} is no unit of pressure"
        raise refusal(where, text, why, f"write for example {EXAMPLE!r}")
    currents = _ends((low, high), current_unit, "current", where, basis)
    outs = _ends((low_out, high_out), written, unit.kind, where, basis)
    if currents[0] == currents[1] or outs[0] == outs[1]:
        why = "both ends are the same"
        raise refusal(where, text, why, f"write for example {EXAMPLE!r}")
    return StatedRange(StaticRange(currents, outs), unit)


def _ends(
    numbers: tuple[str, str], unit: str, kind: str, where: str, basis: Basis
) -> tuple[float, float]:
    low, high = (
        parse(f"{number.replace(',', '.')} {unit}", kind, where, basis)
        for number in numbers
    )
    return low, high
