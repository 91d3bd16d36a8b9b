"""A gain as the board keeps it: a 14-bit mantissa and a shift."""

import math
from dataclasses import dataclass

from firmware_model.law import layout
from host_sim.errors import InputError

_MANTISSA_HIGH = layout.MANTISSA[1]
_SHIFT_LOW, _SHIFT_HIGH = layout.SHIFT


@dataclass(frozen=True)
class QuantisedGain:
    """A wanted gain and the one that fits: ``mantissa / 2**shift``."""

    name: str
    wanted: float
    mantissa: int
    shift: int

    @property
    def kept(self) -> float:
        """The gain that the board uses."""
        return math.ldexp(self.mantissa, -self.shift)


def quantise_gain(name: str, wanted: float, highest: float = math.inf) -> QuantisedGain:
    """Find the nearest gain that the board can keep.

    The largest shift is taken at which the mantissa still fits, so a gain from
    1.6e-5 upward is right within 1 in 16 384.

    Parameters
    ----------
    name : str
        What the gain is called in a refusal.
    wanted : float
        Gain, >= 0.
    highest : float
        Largest gain allowed, where stability asks for less than 8 191.5.

    Returns
    -------
    QuantisedGain

    Raises
    ------
    InputError
        Negative, not finite, too large, or so small that it would vanish.

    >>> g = quantise_gain("kp", 2.5)
    >>> g.mantissa, g.shift, g.kept
    (10240, 12, 2.5)
    """
    top = min(highest, math.ldexp(_MANTISSA_HIGH, -_SHIFT_LOW))
    if not 0.0 <= wanted <= top:
        nearest = 0.0 if wanted < 0.0 else top
        raise InputError(
            f"{name}: {wanted:g} does not fit: allowed 0 ... {top:g}, "
            f"nearest that fits {nearest:g}"
        )
    shift = _SHIFT_HIGH
    while shift > _SHIFT_LOW and round(wanted * 2**shift) > _MANTISSA_HIGH:
        shift -= 1
    mantissa = round(wanted * 2**shift)
    if wanted and not mantissa:
        least = 1 / 2**_SHIFT_HIGH
        raise InputError(
            f"{name}: {wanted:g} a tick would vanish: smallest that fits {least:g}; "
            f"use a longer tick or switch it off with 0"
        )
    return QuantisedGain(name, wanted, min(mantissa, _MANTISSA_HIGH), shift)
