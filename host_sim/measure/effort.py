"""What a response costs: valve travel and reversals, and the air used."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from host_sim.errors import InputError
from host_sim.plant.settings import Air

FloatArray = npt.NDArray[np.float64]

# 0.5 % of the stroke: some twenty steps of a 12-bit converter, so its noise is
# not taken for wear, and far below any movement that a person would call one.
REVERSAL_THRESHOLD = 0.005


@dataclass(frozen=True)
class OutputMetrics:
    """How much the output moved; one stroke is an output change of 1.0.

    ``travel_strokes`` is ``sum(|u[k] - u[k-1]|)``, dither and noise included.
    ``reversals`` counts the changes of direction of swings larger than
    ``threshold_strokes``.
    """

    travel_strokes: float
    reversals: int
    threshold_strokes: float


@dataclass(frozen=True)
class AirUse:
    """Air drawn, as mass and as volume in the reference state (ANR)."""

    mass_kg: float
    volume_l_anr: float


def measure_output(
    output: FloatArray, *, threshold: float = REVERSAL_THRESHOLD
) -> OutputMetrics:
    """Measure travel and reversals of an output held between ticks.

    A reversal is counted when the output has come back from its last extreme
    by more than the threshold; the first direction needs a move of that size
    too. So a swing counts when it is larger than the threshold, however many
    ticks it takes.

    Parameters
    ----------
    output : ndarray, shape (n,)
        Output at each tick, n >= 1 [fraction of full drive, -1 ... 1].
    threshold : float
        Largest swing that is not counted [fraction of full drive].

    Returns
    -------
    OutputMetrics

    Raises
    ------
    InputError
        No samples, a sample that is not finite, or a negative threshold.

    Examples
    --------
    >>> measure_output(np.array([0.0, 0.5, 0.499, 0.8, 0.2])).reversals
    1
    >>> measure_output(np.array([0.0, 0.5, 0.499, 0.8, 0.2])).travel_strokes
    1.402

    Source: common practice.

    """
    _check_samples("output", output)
    if not 0.0 <= threshold < np.inf:
        raise InputError(
            f"threshold: {threshold} of the stroke; must be 0 or more and finite; "
            f"{REVERSAL_THRESHOLD} suits most valves"
        )
    return OutputMetrics(
        travel_strokes=float(np.abs(np.diff(output)).sum()),
        reversals=_count_reversals(output.tolist(), threshold),
        threshold_strokes=threshold,
    )


def air_used(mass_kg: FloatArray, air: Air) -> AirUse:
    """Convert the growth of a cumulated mass to litres ANR.

    ``V = (m_end - m_start) / rho_reference``.

    Parameters
    ----------
    mass_kg : ndarray, shape (n,)
        Mass drawn since some earlier instant, n >= 1 [kg].
    air : Air
        Its reference density makes the volume.

    Returns
    -------
    AirUse
        Mass [kg] and volume [L ANR].

    Raises
    ------
    InputError
        No samples, or a sample that is not finite.

    Examples
    --------
    >>> air_used(np.array([0.5, 0.5, 1.685]), Air())
    AirUse(mass_kg=1.185, volume_l_anr=1000.0)

    Source: reference state ANR of ISO 8778, second-hand.

    """
    _check_samples("mass_kg", mass_kg)
    used_kg = float(mass_kg[-1] - mass_kg[0])
    return AirUse(used_kg, 1000.0 * used_kg / air.reference_density_kg_m3)


def _check_samples(name: str, samples: FloatArray) -> None:
    if samples.ndim != 1 or samples.size == 0 or not np.isfinite(samples).all():
        raise InputError(
            f"{name}: shape {samples.shape}, "
            f"{np.count_nonzero(~np.isfinite(samples))} samples not finite; "
            "must be one row of one or more finite numbers; "
            "check the run that it came from"
        )


def _count_reversals(output: list[float], threshold: float) -> int:
    low = high = output[0]
    direction = reversals = 0
    for position in output:
        low, high = min(low, position), max(high, position)
        if direction <= 0 and position - low > threshold:
            reversals += direction < 0
            direction, high = 1, position
        elif direction >= 0 and high - position > threshold:
            reversals += direction > 0
            direction, low = -1, position
    return reversals
