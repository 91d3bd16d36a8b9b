"""A linear plant as tuning rules see it: gain, lags, leads, delay.

Gains are plain numbers, pressure as a share of its range over drive as a share
of full drive; of an integrator, the same in a second.
"""

import math
from dataclasses import dataclass

import numpy as np
from scipy.linalg import eigvals, matrix_balance

from host_sim.errors import InputError
from host_sim.measure.margins import ComplexArray, FloatArray, Response
from host_sim.plant.linear import OUTPUTS, LinearPlant
from host_sim.tune.models import INTEGRATING, Model

AT_REST = 1e-7
"""Pole or zero at the origin, over the fastest pole."""
FAST = 30.0
"""Zero that counts as infinitely fast, over the fastest pole."""
LOWEST_DAMPING = 0.7
"""Damping of a slow pair of poles below which no two real lags stand for it."""
SLOW = 3.0
"""Pairs count as slow up to so many times the plant's slowest rate."""


@dataclass(frozen=True)
class Process:
    """``gain prod(lead s + 1) / prod(lag s + 1) exp(-delay s)``, perhaps over s.

    ``lags_s`` falls; a negative lead is a zero in the right half plane.
    """

    gain: float
    lags_s: tuple[float, ...]
    delay_s: float
    leads_s: tuple[float, ...] = ()
    integrating: bool = False


@dataclass(frozen=True)
class DelayedPlant:
    """A linear plant in shares of range, and all the dead time of its loop.

    ``dx/dt = a x + b u``, ``y = c x`` a ``delay_s`` later.
    """

    a: FloatArray
    b: FloatArray
    c: FloatArray
    delay_s: float

    @property
    def response(self) -> Response:
        """Gain at angular frequencies [rad/s]."""

        def response(frequency_rad_s: FloatArray) -> ComplexArray:
            s = 1j * frequency_rad_s
            matrices = s[:, None, None] * np.eye(len(self.a)) - self.a
            column = self.b.astype(complex)[None, :, None]
            states = np.linalg.solve(matrices, column)[:, :, 0]
            gain: ComplexArray = states @ self.c * np.exp(-s * self.delay_s)
            return gain

        return response


def model_plant(model: Model, delay_s: float) -> DelayedPlant:
    """Write a model, gain in shares of range, as a plant; add dead time.

    Raises
    ------
    InputError
        A gain below 0: the law's gains are positive.
    """
    if model.gain < 0.0:
        raise InputError(
            f"gain: {model.gain:g}; a drive that lowers the pressure cannot be "
            "controlled by positive gains: reverse the drive"
        )
    total_s = model.dead_time_s + delay_s
    if model.form == INTEGRATING:
        a, b, c = [[0.0]], [model.gain], [1.0]
    elif model.damping is None:
        (lag_s,) = model.shape
        a, b, c = [[-1.0 / lag_s]], [model.gain / lag_s], [1.0]
    else:
        time_s, damping = model.shape
        a = [[0.0, 1.0], [-1.0 / time_s**2, -2.0 * damping / time_s]]
        b, c = [0.0, model.gain / time_s**2], [1.0, 0.0]
    return DelayedPlant(np.array(a), np.array(b), np.array(c), total_s)


def scaled_plant(
    plant: LinearPlant, reading_per_pa: float, delay_s: float
) -> DelayedPlant:
    """Take the way from drive to sensed pressure out of a linearised plant.

    Parameters
    ----------
    plant : LinearPlant
    reading_per_pa : float
        Share of the range in a pascal [1/Pa].
    delay_s : float
        All dead time of the loop, transport delay and all [s].
    """
    shown = plant.c[OUTPUTS.index("sensed_pa")] * reading_per_pa
    return DelayedPlant(plant.a, plant.b[:, 0], shown, delay_s)


def process_of(plant: DelayedPlant) -> Process:
    """Read gain, lags and leads off a plant's poles and zeros.

    A pair of complex poles or zeros counts as two equal lags or leads with the
    same sum, which keeps the mean residence time.

    Parameters
    ----------
    plant : DelayedPlant

    Returns
    -------
    Process

    Raises
    ------
    InputError
        Slow poles that swing (damping below 0.7), poles that grow, several
        integrators, a differentiator, or a gain below 0.

    Notes
    -----
    Source: zeros as finite eigenvalues of the system pencil; any book on linear
    systems. The equal lags: no source.
    """
    poles = np.linalg.eigvals(plant.a).astype(complex)
    zeros = _zeros(plant)
    fastest = float(np.abs(poles).max())
    zeros = zeros[np.abs(zeros) < FAST * fastest]
    poles, poles_at_rest = moving(poles, fastest)
    zeros, zeros_at_rest = moving(zeros, fastest)
    _check_poles(poles, poles_at_rest - zeros_at_rest)
    order = poles_at_rest - zeros_at_rest
    gain = _gain(plant, poles, zeros, order)
    if gain <= 0.0:
        raise InputError(
            f"plant: gain {gain:g} of range over full drive; rules are for plants "
            "whose pressure rises with the drive"
        )
    return Process(
        gain=gain,
        lags_s=tuple(sorted((-1.0 / poles).real.tolist(), reverse=True)),
        delay_s=plant.delay_s,
        leads_s=tuple((-1.0 / zeros).real.tolist()),
        integrating=order == 1,
    )


def _zeros(plant: DelayedPlant) -> ComplexArray:
    """Find the finite zeros of a plant's pencil, states brought to one size."""
    a, (scale, _) = matrix_balance(plant.a, permute=False, separate=True)
    b, c = plant.b / scale, plant.c * scale
    count = len(a)
    pencil, mass = np.zeros((count + 1, count + 1)), np.zeros((count + 1, count + 1))
    pencil[:count, :count], mass[:count, :count] = a, np.eye(count)
    size = float(np.abs(a).max()) or 1.0
    pencil[:count, count] = b * size / np.abs(b).max()
    pencil[count, :count] = c * size / np.abs(c).max()
    found: ComplexArray = eigvals(pencil, mass)
    return found[np.isfinite(found)]


def moving(roots: ComplexArray, fastest: float) -> tuple[ComplexArray, int]:
    """Part poles or zeros into those that move and the number of those at rest.

    ``fastest`` is the size of the plant's fastest pole [rad/s].
    """
    at_rest = np.abs(roots) <= AT_REST * fastest
    return roots[~at_rest], int(at_rest.sum())


def _check_poles(poles: ComplexArray, integrators: int) -> None:
    if not 0 <= integrators <= 1:
        raise InputError(
            f"plant: {integrators} integrators; rules know none or one of them"
        )
    if (poles.real >= 0.0).any():
        raise InputError("plant: it grows by itself; no rule is stated for that")
    rates = np.abs(poles)
    slow = rates <= SLOW * rates.min(initial=math.inf)
    damping = float((-poles.real / rates)[slow].min(initial=1.0))
    if damping < LOWEST_DAMPING:
        raise InputError(
            f"plant: damping {damping:.2g} of its slow pair of poles; the half rule "
            f"knows real lags and takes pairs down to {LOWEST_DAMPING:g} for them"
        )


def _gain(
    plant: DelayedPlant, poles: ComplexArray, zeros: ComplexArray, order: int
) -> float:
    """Compare the plant with its factors at a frequency amid its poles."""
    middle = math.exp(float(np.log(np.abs(poles)).mean())) if len(poles) else 1.0
    s = 1j * middle
    factors = np.prod(1.0 - s / poles) / np.prod(1.0 - s / zeros) * s**order
    undelayed = plant.response(np.array([middle]))[0] * np.exp(s * plant.delay_s)
    return float((undelayed * factors).real)
