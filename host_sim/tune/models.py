"""Small linear models of a plant, and their exact answers."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from host_sim.errors import InputError
from host_sim.measure.curve import FloatArray
from host_sim.measure.margins import ComplexArray

Form = Literal["first order", "second order", "integrating"]
FIRST: Form = "first order"
SECOND: Form = "second order"
INTEGRATING: Form = "integrating"

SHAPES: dict[Form, tuple[str, ...]] = {
    FIRST: ("time_constant_s",),
    SECOND: ("time_constant_s", "damping"),
    INTEGRATING: (),
}
"""What besides gain and dead time describes each form."""

# Two equal lags divide by their difference; so far apart they cost 1e-8.
_APART = 1e-4


@dataclass(frozen=True)
class Model:
    """Gain, shape and dead time ``L`` of a linear plant.

    ``K e^(-L s) / (T s + 1)``, ``K e^(-L s) / (T^2 s^2 + 2 damping T s + 1)`` or
    ``K e^(-L s) / s``. Damping of 1 or more means two real lags, see `lags_s`.

    Attributes
    ----------
    form : str
        "first order", "second order" or "integrating".
    gain : float
        [Pa per unit of input]; of an integrator [Pa/s per unit of input].
    dead_time_s : float
        Not negative [s].
    time_constant_s, damping : float or None
        Above 0; None where the form has none [s], [-].

    Raises
    ------
    InputError
        A number that no plant has.
    """

    form: Form
    gain: float
    dead_time_s: float
    time_constant_s: float | None = None
    damping: float | None = None

    def __post_init__(self) -> None:
        """Refuse numbers that no plant has."""
        if self.form not in SHAPES:
            known = ", ".join(repr(form) for form in SHAPES)
            raise InputError(f"form: {self.form!r}; write one of {known}")
        if not math.isfinite(self.gain) or self.gain == 0.0:
            raise InputError(f"gain: {self.gain:g}; must be finite and not 0")
        if not 0.0 <= self.dead_time_s < math.inf:
            raise InputError(
                f"dead_time_s: {self.dead_time_s:g} s; must be 0 s or more: no "
                "pressure moves before its cause; write 0 if there is none"
            )
        for name in ("time_constant_s", "damping"):
            self._check_shape(name, getattr(self, name))

    def _check_shape(self, name: str, number: float | None) -> None:
        wanted = name in SHAPES[self.form]
        if wanted != (number is not None):
            remedy = f"write {name}" if wanted else f"remove {name}"
            what = "missing" if wanted else "not part"
            raise InputError(f"{name}: {what} of a {self.form} model; {remedy}")
        if number is not None and not 0.0 < number < math.inf:
            raise InputError(f"{name}: {number:g}; must be above 0 and finite")

    @property
    def shape(self) -> tuple[float, ...]:
        """The numbers named by `SHAPES`, in that order."""
        return tuple(getattr(self, name) for name in SHAPES[self.form])

    @property
    def lags_s(self) -> tuple[float, ...]:
        """First-order lags in series, the longest first, if any.

        >>> Model(SECOND, 1.0, 0.0, time_constant_s=2.0, damping=1.25).lags_s
        (4.0, 1.0)
        """
        if self.form == FIRST:
            return self.shape
        if self.form == SECOND and self.shape[1] >= 1.0:
            return real_lags_s(*self.shape)
        return ()


def real_lags_s(time_constant_s: float, damping: float) -> tuple[float, float]:
    """Two lags of a second order; damping below 1 counts as 1.

    ``T (damping +- sqrt(damping^2 - 1))``

    >>> real_lags_s(1.0, 1.25)
    (2.0, 0.5)
    """
    spread = math.sqrt(max(damping * damping - 1.0, 0.0))
    longer_s = time_constant_s * (damping + spread)
    return longer_s, time_constant_s**2 / longer_s


@dataclass(frozen=True)
class HeldInput:
    """An input that stands still between its changes.

    ``levels`` has one entry more than ``times_s``: the first holds before the
    first change.
    """

    times_s: FloatArray
    levels: FloatArray

    @property
    def changes(self) -> FloatArray:
        """Height of each change."""
        return np.diff(self.levels)

    def at(self, time_s: FloatArray) -> FloatArray:
        """Levels at these times; at a change, the one after it."""
        return self.levels[np.searchsorted(self.times_s, time_s, side="right")]


def unit_answer(
    form: Form, shape: Sequence[float], held: HeldInput, time_s: FloatArray
) -> FloatArray:
    """Answer of unit gain and no dead time to an input.

    The sum over all changes of height ``du`` at ``tau`` of ``du g(t - tau)``,
    with ``g = 1 + sum(c exp(pole t))`` or, of an integrator, ``g = t``: exact at
    any time. Zero before the first change.

    Parameters
    ----------
    form : str
        "first order", "second order" or "integrating".
    shape : sequence of float
        As `SHAPES` names them [s], [-].
    held : HeldInput
        With at least one change.
    time_s : ndarray, shape (n,)
        When to answer; subtract the dead time from it [s].

    Returns
    -------
    ndarray, shape (n,)
        [unit of input]; of an integrator [unit of input times s].

    Notes
    -----
    Source: step answers of linear systems, any book on control.

    Examples
    --------
    >>> held = HeldInput(np.array([1.0, 2.0]), np.array([0.0, 1.0, 0.0]))
    >>> unit_answer(FIRST, (1.0,), held, np.array([0.5, 2.0, 3.0]))
    array([0. , 0.63212056, 0.23254416])
    >>> unit_answer(INTEGRATING, (), held, np.array([0.5, 1.5, 3.0]))
    array([0. , 0.5, 1. ])
    """
    last = np.searchsorted(held.times_s, time_s, side="right") - 1
    before, last = last < 0, np.maximum(last, 0)
    age_s = np.maximum(time_s - held.times_s[last], 0.0)
    risen = np.cumsum(held.changes)
    if form == INTEGRATING:
        areas = risen[:-1] * np.diff(held.times_s)
        ramp = np.concatenate(([0.0], np.cumsum(areas)))
        answer = ramp[last] + risen[last] * age_s
    else:
        answer = risen[last]
        for pole, weight in _poles(form, shape):
            left = weight * _decayed_sums(pole, held)[last] * np.exp(pole * age_s)
            answer = answer + left.real
    return np.where(before, 0.0, answer)


def _poles(form: Form, shape: Sequence[float]) -> list[tuple[complex, complex]]:
    """Poles of a form, and the weight of each in its step answer."""
    if form == FIRST:
        return [(complex(-1.0 / shape[0]), -1.0 + 0.0j)]
    time_constant_s, damping = shape
    apart = complex(damping * damping - 1.0) ** 0.5
    if abs(apart) < _APART:
        apart = complex(_APART)
    slow = (-damping + apart) / time_constant_s
    fast = (-damping - apart) / time_constant_s
    return [(slow, fast / (slow - fast)), (fast, -slow / (slow - fast))]


def _decayed_sums(pole: complex, held: HeldInput) -> ComplexArray:
    """``sum(du exp(pole (tau_k - tau)))`` up to each change."""
    kept = np.exp(pole * np.diff(held.times_s, prepend=held.times_s[0])).tolist()
    total, sums = 0.0j, []
    for share, change in zip(kept, held.changes.tolist(), strict=True):
        total = total * share + change
        sums.append(total)
    return np.array(sums)
