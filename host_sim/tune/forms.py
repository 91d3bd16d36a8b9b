"""The forms in which PID gains are stated, and the ways between them.

The parallel form is the law's own, `host_sim.law.settings.Gains`.
"""

import math
from dataclasses import dataclass
from typing import Self

from host_sim.errors import InputError
from host_sim.law.settings import INFINITE, Gains

ROUNDING = 1e-12
"""Of ``4 td/ti``, by which two equal zeros may seem complex."""


@dataclass(frozen=True)
class _Form:
    """Gain, integral time (infinite: none) and derivative time."""

    kc: float
    ti_s: float = INFINITE
    td_s: float = 0.0

    def __post_init__(self) -> None:
        sound = 0.0 <= self.kc < math.inf and 0.0 <= self.td_s < math.inf
        if not (sound and self.ti_s > 0.0):
            raise InputError(
                f"gains kc {self.kc:g}, ti {self.ti_s:g} s, td {self.td_s:g} s: kc and "
                "td must be 0 or more, ti above 0"
            )


@dataclass(frozen=True)
class Ideal(_Form):
    """``u = kc (e + integral(e) / ti + td de/dt)``.

    Source: common practice; also called standard or non-interacting.
    """

    @classmethod
    def of_parallel(cls, gains: Gains) -> Self:
        """Convert from the parallel form: ``ti = kp/ki``, ``td = kd/kp``.

        Raises
        ------
        InputError
            Without proportional action: the ideal form has none without it.

        >>> Ideal.of_parallel(Gains(2.0, 0.5, 1.0))
        Ideal(kc=2.0, ti_s=4.0, td_s=0.5)
        """
        if gains.kp == 0.0 and (gains.ki_per_s or gains.kd_s):
            raise InputError(
                f"gains kp 0, ki {gains.ki_per_s:g} 1/s, kd {gains.kd_s:g} s: the "
                "ideal and series forms have no I or D without P; keep the parallel "
                "form, or give kp a value"
            )
        return cls(gains.kp, gains.ti_s, gains.td_s)

    def parallel(self) -> Gains:
        """Convert to the parallel form: ``ki = kc/ti``, ``kd = kc td``."""
        return Gains.from_ideal(self.kc, self.ti_s, self.td_s)


@dataclass(frozen=True)
class Series(_Form):
    """``u = kc (1 + 1/(ti s)) (td s + 1) e``.

    Source: common practice; also called interacting or cascade.
    """

    @classmethod
    def of_ideal(cls, ideal: Ideal) -> Self:
        """Convert from the ideal form, where that is possible.

        With ``q = sqrt(1 - 4 td/ti)``: ``kc' = kc (1 + q)/2``,
        ``ti' = ti (1 + q)/2``, ``td' = 2 td/(1 + q)``.

        Raises
        ------
        InputError
            ``ti < 4 td``: the zeros are complex, a series form has only real ones.

        Notes
        -----
        Source: inverse of `ideal`; Astrom and Haegglund, PID Controllers (1995),
        from memory.

        >>> Series.of_ideal(Ideal(12.5, 10.0, 1.6))
        Series(kc=10.0, ti_s=8.0, td_s=2.0)
        """
        under_root = 1.0 - 4.0 * ideal.td_s / ideal.ti_s
        if under_root < -ROUNDING:
            raise InputError(
                f"ti {ideal.ti_s:g} s, td {ideal.td_s:g} s: no series form where ti is "
                f"below 4 td; lower td to {ideal.ti_s / 4.0:g} s, or stay ideal"
            )
        q = math.sqrt(max(under_root, 0.0))
        half = (1.0 + q) / 2.0
        return cls(ideal.kc * half, ideal.ti_s * half, ideal.td_s / half)

    def ideal(self) -> Ideal:
        """Convert to the ideal form.

        With ``f = 1 + td/ti``: ``kc' = kc f``, ``ti' = ti f``, ``td' = td/f``.

        Notes
        -----
        Source: Skogestad, J. Process Control 13 (2003) 291-309, second-hand.

        >>> Series(10.0, 8.0, 2.0).ideal()
        Ideal(kc=12.5, ti_s=10.0, td_s=1.6)
        """
        factor = 1.0 + self.td_s / self.ti_s
        return Ideal(self.kc * factor, self.ti_s * factor, self.td_s / factor)
