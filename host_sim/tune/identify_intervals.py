"""How far fitted numbers may be from the truth.

Three causes are told apart. *Noise* is taken from the residuals, with their
autocorrelation and with more of it where the residuals are larger. *Quantisation*
hides where no noise stirs it: the same true pressure always reads the same wrong
number, and residuals do not show that. The *input* is known no better than its
own noise, and the instant of a change only to lie between two rows.
"""

import math
from dataclasses import dataclass

import numpy as np
from scipy import stats
from scipy.signal import lfilter

from host_sim.measure.curve import FloatArray

CONFIDENCE = 0.95
FINEST = 1e-6
"""No logger resolves less than this share of what it shows."""
MISFIT = 1.5
"""Residual over noise from which a model may miss something."""
WORTH_A_WORD = 1e-3
"""Share of the pressure's travel below which a residual does not matter."""
HANGS_TOGETHER = 0.5
"""Correlation of residuals from row to row from which it does."""

_HARMONICS = 8
_MOST_CORRELATED = 0.97


@dataclass(frozen=True)
class Evidence:
    """What a fit leaves behind.

    Attributes
    ----------
    jacobian : ndarray, shape (n, p)
        Change of the fitted pressure with each parameter.
    residuals_pa, fitted_pa : ndarray, shape (n,)
        Fitted minus recorded pressure; fitted pressure [Pa].
    quantum_pa : float
        Resolution of the recorded pressure, 0 if unknown [Pa].
    moved_pa : ndarray, shape (n, m)
        Change of the fitted pressure if one change of the input came later by
        its whole window between two rows; the larger ones [Pa].
    late_pa : ndarray, shape (n,)
        The same if all changes did [Pa].
    levels_pa : ndarray, shape (n, k)
        Change of the fitted pressure if one level of the input were off by its
        standard error [Pa].
    """

    jacobian: FloatArray
    residuals_pa: FloatArray
    fitted_pa: FloatArray
    quantum_pa: float
    moved_pa: FloatArray
    late_pa: FloatArray
    levels_pa: FloatArray


def lag_one(residuals: FloatArray) -> float:
    """Autocorrelation of residuals from row to row, 0 ... 0.97.

    >>> lag_one(np.array([1.0, 1.0, -1.0, -1.0, 1.0, 1.0]))
    0.1666667
    """
    power = float(residuals @ residuals)
    if power == 0.0:
        return 0.0
    share = float(residuals[1:] @ residuals[:-1]) / power
    return min(max(share, 0.0), _MOST_CORRELATED)


def independent_rows(rows: int, correlation: float) -> float:
    """Count the rows that a correlation leaves independent.

    ``n (1 - r) / (1 + r)``, at least 3.

    >>> independent_rows(300, 0.5)
    100.0
    """
    return max(rows * (1.0 - correlation) / (1.0 + correlation), 3.0)


def misfits(evidence: Evidence, noise_pa: float) -> bool:
    """Tell a model that misses something from mere noise."""
    residual_pa = float(np.std(evidence.residuals_pa))
    span_pa = float(np.ptp(evidence.fitted_pa))
    least_pa = max(MISFIT * noise_pa, WORTH_A_WORD * span_pa)
    return residual_pa > least_pa and lag_one(evidence.residuals_pa) > HANGS_TOGETHER


def half_widths(evidence: Evidence, directions: FloatArray) -> FloatArray:
    """Half widths of intervals that hold together.

    All of them hold in 95 of 100 records:
    ``t sqrt(noise + quantisation + instants + levels) + clock``. t is Student's,
    with the 5 % shared among as many intervals as are independent (Bonferroni).
    ``clock`` is what half a window more or less in *every* change would do, as
    when a logger writes commands before or after they act.

    Parameters
    ----------
    evidence : Evidence
    directions : ndarray, shape (k, p)
        Which sums of parameters are asked for, one a row.

    Returns
    -------
    ndarray, shape (k,)
        Infinite where the record does not tell the parameters apart at all.

    Notes
    -----
    Source: least squares, see `_noise` and `_quantisation`; Bonferroni's
    inequality, any book on statistics.
    """
    rows, count = evidence.jacobian.shape
    inverse = _pseudo_inverse(evidence.jacobian)
    if inverse is None:
        return np.full(len(directions), np.inf)
    asked: FloatArray = directions @ inverse
    variances = _noise(evidence, inverse, asked) + _quantisation(evidence, asked)
    moved: FloatArray = asked @ evidence.moved_pa
    # A uniform share of a window has variance 1/12; what all changes have in
    # common is the clock's.
    apart = moved - moved.mean(axis=1, keepdims=True)
    variances = variances + (apart**2).sum(axis=1) / 12.0
    variances = variances + ((asked @ evidence.levels_pa) ** 2).sum(axis=1)
    finest_pa = FINEST * float(np.ptp(evidence.fitted_pa))
    variances = variances + finest_pa**2 * (asked**2).sum(axis=1)
    clock = 0.5 * np.abs(asked @ evidence.late_pa)
    tail = (1.0 - CONFIDENCE) / (2.0 * np.linalg.matrix_rank(directions))
    factor = float(stats.t.ppf(1.0 - tail, rows - count))
    widths: FloatArray = factor * np.sqrt(variances) + clock
    return widths


def _pseudo_inverse(jacobian: FloatArray) -> FloatArray | None:
    """``(J^T J)^-1 J^T`` of scaled columns; None if J is singular."""
    sizes = np.linalg.norm(jacobian, axis=0)
    if not (np.isfinite(sizes).all() and (sizes > 0.0).all()):
        return None
    basis, triangle = np.linalg.qr(jacobian / sizes)
    diagonal = np.abs(np.diag(triangle))
    if diagonal.min() < 1e-10 * diagonal.max():
        return None
    inverse: FloatArray = np.linalg.solve(triangle, basis.T) / sizes[:, None]
    return inverse


def _noise(evidence: Evidence, inverse: FloatArray, asked: FloatArray) -> FloatArray:
    """Variances from the residuals: the larger of two estimates.

    One takes them for a first-order process of equal strength everywhere; the
    other, less exact, asks only for what is there: ``sum_l w_l sum_k g_k
    g_(k+l)``, ``g_k`` the influence of row k, with Bartlett weights. It sees that
    residuals are larger where the pressure is steep, as with a jittering clock.

    Notes
    -----
    Source: Newey and West, Econometrica 55 (1987) 703, bandwidth of Andrews,
    Econometrica 59 (1991) 817, leverage as in MacKinnon and White, J.
    Econometrics 29 (1985) 305, all from memory.
    """
    residuals = evidence.residuals_pa
    leverage = (inverse.T * evidence.jacobian).sum(axis=1)
    influence = asked * (residuals / np.maximum(1.0 - leverage, 0.1))
    correlated = (influence**2).sum(axis=1)
    bandwidth = _bandwidth(residuals)
    for lag in range(1, bandwidth + 1):
        products = (influence[:, lag:] * influence[:, :-lag]).sum(axis=1)
        correlated = correlated + 2.0 * (1.0 - lag / (bandwidth + 1)) * products
    larger: FloatArray = np.maximum(correlated, _even_noise(evidence, asked))
    return larger


def _even_noise(evidence: Evidence, asked: FloatArray) -> FloatArray:
    """Variances of even noise that is correlated from row to row.

    ``s^2 sum_kl J+_k r^|k - l| J+_l`` with r the residuals' correlation.

    Notes
    -----
    Source: first-order autoregression; the correlation is raised by its bias of
    about ``(1 + 3 r + p) / n``, Marriott and Pope, Biometrika 41 (1954) 390, from
    memory, with the number p of parameters added.
    """
    residuals = evidence.residuals_pa
    rows, count = evidence.jacobian.shape
    share = lag_one(residuals)
    share = min(share + (1.0 + 3.0 * share + count) / rows, _MOST_CORRELATED)
    ahead = lfilter([1.0], [1.0, -share], asked, axis=1)
    power = float(residuals @ residuals) / (rows - count)
    doubled = (asked * (2.0 * ahead - asked)).sum(axis=1)
    variances: FloatArray = power * np.maximum(doubled, 0.0)
    return variances


def _bandwidth(residuals: FloatArray) -> int:
    share = lag_one(residuals)
    spread = 4.0 * share**2 / ((1.0 - share) ** 2 * (1.0 + share) ** 2)
    rows = len(residuals)
    return min(math.ceil(1.1447 * math.cbrt(spread * rows)), rows // 4)


def _quantisation(evidence: Evidence, asked: FloatArray) -> FloatArray:
    """Variances from a converter whose levels lie anywhere.

    The rounding error of a level is a sawtooth of the pressure. With noise of
    standard deviation s its mean keeps the harmonics ``q/(pi m) exp(-2 (pi m
    s/q)^2)``, m = 1, 2 ...; two rows share it as ``cos(2 pi m (p1 - p2)/q)``.

    Notes
    -----
    Source: Widrow and Kollar, *Quantization Noise* (2008), from memory.
    """
    quantum_pa = evidence.quantum_pa
    if quantum_pa == 0.0:
        return np.zeros(len(asked))
    power = float(evidence.residuals_pa @ evidence.residuals_pa)
    power /= len(evidence.residuals_pa)
    stirred = max(power / quantum_pa**2 - 1.0 / 12.0, 0.0)
    variances = np.zeros(len(asked))
    for harmonic in range(1, _HARMONICS + 1):
        turn = 2.0 * math.pi * harmonic
        height = 2.0 * quantum_pa**2 / turn**2 * math.exp(-(turn**2) * stirred)
        phase = turn * evidence.fitted_pa / quantum_pa
        both = (asked @ np.cos(phase)) ** 2 + (asked @ np.sin(phase)) ** 2
        variances = variances + height * both
    return variances
