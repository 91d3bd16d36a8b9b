"""Unit names as people write them, turned into factors by pint."""

import re
import tokenize
from functools import cache, lru_cache
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from pint import UnitRegistry

_UNIT_LETTERS = re.compile(r"[A-Za-z0-9µμ°%²³*/^()\s.·⋅-]*")
# Pint computes exponents, and 9**9**9 takes for ever.
_TOWER = re.compile(r"\d[\d.]|[\d)]\s*\*\*")
_SPELLINGS = (
    # The point (or raised dot) of the standards' "dm3/(s.bar)".
    (re.compile(r"(?<=[^\W\d_])\s*[.·⋅]\s*(?=[^\W\d_])"), "*"),
    # "m3" and "s-1"; the 2 of "inH2O" is followed by a letter and stays.
    (re.compile(r"(?<=[A-Za-z])(-?[1-4])(?![A-Za-z0-9])"), r"**\1"),
    (re.compile(r"\^"), "**"),
    (re.compile("%"), "percent"),
    (re.compile(r"\bcfm\b", re.IGNORECASE), "ft**3/min"),
    (re.compile(r"\bcu\.?(?=\s)"), "cubic"),
)


class UnfitUnitError(ValueError):
    """A unit that will not do: what is wrong, and the remedy."""

    def __init__(self, why: str, remedy: str) -> None:
        super().__init__(why, remedy)
        self.why = why
        self.remedy = remedy


class Unit(NamedTuple):
    """An affine unit: ``si = scale * number + offset``."""

    scale: float
    offset: float = 0.0


@lru_cache(maxsize=1)
def registry() -> "UnitRegistry[float]":
    """Return the one unit registry, made at its first use.

    Loading pint takes a third of a second, which a command that only prints
    its help must not pay.
    """
    import pint  # noqa: PLC0415

    return pint.UnitRegistry()


@cache
def plain_unit(text: str, si: str) -> Unit:
    """Find the factor of a unit that stands on nothing but itself.

    ``offset = si(0 text)``, ``scale = si(1 text) - offset``.

    Parameters
    ----------
    text : str
        The unit as written, such as "dm3/(s.bar)".
    si : str
        The unit inside the program, in pint's spelling.

    Returns
    -------
    Unit
        Its scale and offset.

    Raises
    ------
    UnfitUnitError
        Unknown unit, or one of another dimension.

    Notes
    -----
    Source: factors of pint; ISO 80000-1 for the point between units, from
    memory.

    Examples
    --------
    >>> plain_unit("psi", "Pa")
    Unit(scale=6894.757, offset=0.0)
    """
    import pint  # noqa: PLC0415

    quantity = registry().Quantity
    try:
        offset = quantity(0.0, pint_spelling(text)).to(si).magnitude
        scale = quantity(1.0, pint_spelling(text)).to(si).magnitude - offset
    except pint.DimensionalityError:
        why = f"{text!r} has the wrong dimension" if text else "the unit is missing"
        raise UnfitUnitError(why, "") from None
    except (pint.PintError, ArithmeticError, TypeError, ValueError) as error:
        raise UnfitUnitError(f"unknown unit {text!r}", "") from error
    except (AttributeError, SyntaxError, tokenize.TokenError) as error:
        raise UnfitUnitError(f"unknown unit {text!r}", "") from error
    # Pint's chains of factors leave noise such as 1.0000000000000004e-08.
    return Unit(float(f"{scale:.15g}"), float(f"{offset:.15g}"))


def pint_spelling(text: str) -> str:
    """Respell a unit for pint: points, exponents, per cent.

    Parameters
    ----------
    text : str
        The unit as written.

    Returns
    -------
    str
        The unit as pint reads it.

    Raises
    ------
    UnfitUnitError
        A character or a power that no unit holds.

    Notes
    -----
    Source: common practice.

    Examples
    --------
    >>> pint_spelling("dm3/(s.bar)")
    'dm**3/(s*bar)'
    """
    if not _UNIT_LETTERS.fullmatch(text):
        raise UnfitUnitError(f"unknown unit {text!r}", "")
    for pattern, replacement in _SPELLINGS:
        text = pattern.sub(replacement, text)
    if _TOWER.search(text):
        raise UnfitUnitError(f"unknown unit {text!r}", "")
    return text
