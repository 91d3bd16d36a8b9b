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


def quantise_gain(
    name: str,
    wanted: float,
    highest: float = math.inf,
    *,
    shown: float = 1.0,
    unit: str = "",
) -> QuantisedGain:
    """Find the nearest gain that the board can keep.

    The largest shift is taken at which the mantissa still fits, so a gain from
    1.6e-5 upward is right within 1 in 16 384.

    Parameters
    ----------
    name : str
        What the gain is called in a refusal.
    wanted : float
        Gain as the law uses it, >= 0.
    highest : float
        Largest gain allowed, where stability asks for less than 8 191.5.
    shown, unit : float, str
        Factor and unit that make of it what the user wrote, for a refusal.

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

    def text(gain: float) -> str:
        return f"{gain * shown:g}{' ' * bool(unit)}{unit}"

    top = min(highest, math.ldexp(_MANTISSA_HIGH, -_SHIFT_LOW))
    if not 0.0 <= wanted <= top:
        nearest = 0.0 if wanted < 0.0 else top
        raise InputError(
            f"{name}: {text(wanted)} does not fit: allowed 0 ... {text(top)}, "
            f"nearest that fits {text(nearest)}"
        )
    shift = _SHIFT_HIGH
    while shift > _SHIFT_LOW and round(wanted * 2**shift) > _MANTISSA_HIGH:
        shift -= 1
    mantissa = round(wanted * 2**shift)
    if wanted and not mantissa:
        raise InputError(
            f"{name}: {text(wanted)} would vanish: smallest that fits "
            f"{text(math.ldexp(1, -_SHIFT_HIGH))}; a longer tick helps, or switch it "
            "off with 0"
        )
    return QuantisedGain(name, wanted, min(mantissa, _MANTISSA_HIGH), shift)
