"""Which errors an integrator sees, by how its division rounds.

An integrator adds ``ki e / 2**shift`` a tick. Plain arithmetic throws the
remainder away, so a small error adds nothing for ever: a dead zone, and with
it an error that stays. The law carries the remainder (`arith.carry`).
"""

import math
from bisect import bisect_left
from collections.abc import Callable
from dataclasses import dataclass

from firmware_model.law import layout
from host_sim.errors import InputError
from host_sim.law.block import FULL
from host_sim.law.gain import quantise_gain
from host_sim.law.quantise import quantise
from host_sim.law.settings import LawSettings

Step = Callable[[int, int, int], int]


def floor_step(error: int, mantissa: int, shift: int) -> int:
    """Add the floor: a plain shift to the right."""
    return (error * mantissa) >> shift


def truncated_step(error: int, mantissa: int, shift: int) -> int:
    """Add the part before the point: a division as in C."""
    whole = abs(error * mantissa) >> shift
    return whole if error > 0 else -whole


def rounded_step(error: int, mantissa: int, shift: int) -> int:
    """Add the nearest, halves up: half a unit, then a shift."""
    return (error * mantissa + (1 << shift >> 1)) >> shift


PLAIN_STEPS: dict[str, Step] = {
    "floor": floor_step,
    "truncation": truncated_step,
    "rounding": rounded_step,
}

# What the product of ki and an error must reach, in counts, before it moves
# anything; of floor and rounding the side with the wider dead zone.
_NEEDED = {"floor": 1.0, "truncation": 1.0, "rounding": 0.5}


def smallest_error(step: Step, mantissa: int, shift: int, side: int) -> int:
    """Find the smallest error that adds anything.

    Parameters
    ----------
    step : callable
        What a tick adds, of error, mantissa and shift.
    mantissa, shift : int
        Of the gain, above 0.
    side : int
        1 for positive errors, -1 for negative ones.

    Returns
    -------
    int
        ``ceil(2**shift / mantissa)`` for truncation, half of it for rounding.

    >>> smallest_error(truncated_step, 1, 8, 1), smallest_error(floor_step, 1, 8, -1)
    (256, 1)
    """
    # The largest that could be needed: rounding downward, halves up, of 1/2**shift.
    errors = range(1, (1 << shift) + 2)
    moves = bisect_left(
        errors, True, key=lambda e: step(side * e, mantissa, shift) != 0
    )
    return errors[moves]


def ticks_until_move(mantissa: int, shift: int, error: int = 1) -> int:
    """Count the ticks until a steady error moves a carried integral.

    ``ceil(2**(shift - 1) / (mantissa error))``: `arith.carry` rounds to nearest.

    Parameters
    ----------
    mantissa, shift : int
        Of the gain, above 0.
    error : int
        In counts, above 0.

    Returns
    -------
    int

    >>> ticks_until_move(1, 8), ticks_until_move(3, 10, 2)
    (128, 86)
    """
    return -(-(1 << (shift - 1)) // (mantissa * error))


@dataclass(frozen=True)
class DeadZone:
    """What one arithmetic does not see.

    ``above_counts`` and ``below_counts`` are the smallest errors that move the
    integral up and down. ``smallest_ki_per_s`` is that without a dead zone at
    this tick, ``smallest_ki_within_band_per_s`` that with which the pressure still
    comes to rest inside the settle band: the dead zone begins where the deadband
    ends.
    """

    arithmetic: str
    above_counts: int
    below_counts: int
    smallest_ki_per_s: float
    smallest_ki_within_band_per_s: float

    @property
    def above_percent(self) -> float:
        """Of the pressure range."""
        return 100.0 * self.above_counts / FULL


@dataclass(frozen=True)
class IntegralStudy:
    """The integral gain of a law, under other arithmetic too.

    ``one_count_ticks`` is how long an error of one count takes to move the
    output. ``smallest_ki_per_s`` is the smallest that the board can keep,
    ``smallest_exact_ki_per_s`` the smallest kept with all bits of the mantissa.
    """

    ki_per_s: float
    mantissa: int
    shift: int
    tick_s: float
    one_count_ticks: int
    smallest_ki_per_s: float
    smallest_exact_ki_per_s: float
    zones: tuple[DeadZone, ...]

    @property
    def one_count_s(self) -> float:
        """How long an error of one count takes to move the output [s]."""
        return self.one_count_ticks * self.tick_s


def study_integral(law: LawSettings, settle_band: float) -> IntegralStudy | None:
    """Look at a law's integral gain at its own tick.

    Parameters
    ----------
    law : LawSettings
    settle_band : float
        Share of the range within which the pressure is to come to rest [-].

    Returns
    -------
    IntegralStudy or None
        None without integral action.

    Notes
    -----
    Source: fixed-point dead zones, computed from their definition.
    """
    block = quantise(law)
    mantissa, shift = block["I_GAIN"], block["I_SHIFT"]
    if not mantissa:
        return None
    # The law takes the deadband off the error before it integrates.
    room = round(settle_band * FULL) - block["DEADBAND"]
    seen = max(room, 0) + 1
    return IntegralStudy(
        ki_per_s=block.ratio("I") / law.tick_s,
        mantissa=mantissa,
        shift=shift,
        tick_s=law.tick_s,
        one_count_ticks=ticks_until_move(mantissa, shift),
        smallest_ki_per_s=math.ldexp(1, -layout.SHIFT[1]) / law.tick_s,
        smallest_exact_ki_per_s=_least_exact() / law.tick_s,
        zones=tuple(
            DeadZone(
                arithmetic=name,
                above_counts=smallest_error(step, mantissa, shift, 1),
                below_counts=smallest_error(step, mantissa, shift, -1),
                smallest_ki_per_s=_NEEDED[name] / law.tick_s,
                smallest_ki_within_band_per_s=_NEEDED[name] / seen / law.tick_s,
            )
            for name, step in PLAIN_STEPS.items()
        ),
    )


def dead_zone_curve(
    name: str, tick_s: float, gains_per_s: list[float]
) -> list[tuple[float, int]]:
    """Follow the smallest positive error that counts, over gains.

    Parameters
    ----------
    name : str
        One of `PLAIN_STEPS`.
    tick_s : float
    gains_per_s : list of float
        Those that the board cannot keep are left out.

    Returns
    -------
    list of (float, int)
        Gain as kept [1/s], error [counts].
    """
    curve = []
    for ki_per_s in gains_per_s:
        try:
            kept = quantise_gain("ki", ki_per_s * tick_s)
        except InputError:
            continue
        error = smallest_error(PLAIN_STEPS[name], kept.mantissa, kept.shift, 1)
        curve.append((kept.kept / tick_s, error))
    return curve


def _least_exact() -> float:
    return math.ldexp((layout.MANTISSA[1] + 1) >> 1, -layout.SHIFT[1])
