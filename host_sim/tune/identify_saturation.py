"""Whether a pressure sensor reached the end of its range."""

import math
from dataclasses import replace

import numpy as np

from host_sim.errors import InputError
from host_sim.measure.curve import FloatArray
from host_sim.tune.identify_choice import fit_all
from host_sim.tune.identify_fit import Problem, predict
from host_sim.tune.identify_signal import BoolArray, noise_of
from host_sim.tune.record import FEWEST_ROWS

_FLAT_ROWS = 5
_FLAT_SHARE = 0.03
_BEYOND_SHARE = 0.03


def check_saturation(problem: Problem, first_step_s: float) -> None:
    """Refuse a pressure that stays flat at an end of its range.

    A flat top gives itself away in two ways: it lacks the noise that the rest
    has, or the best model of the rest goes beyond it.

    Parameters
    ----------
    problem : Problem
    first_step_s : float
        Flat rows before it are rest [s].

    Raises
    ------
    InputError
    """
    record = problem.record
    for sign, side in ((1.0, "highest"), (-1.0, "lowest")):
        turned_pa = sign * record.pressure_pa
        flat = turned_pa == turned_pa.max()
        after = flat & (record.time_s > first_step_s)
        if after.sum() < max(_FLAT_ROWS, math.ceil(_FLAT_SHARE * len(flat))):
            continue
        if _lacks_noise(record.pressure_pa, flat) or _goes_beyond(problem, sign, after):
            start_s = float(record.time_s[after.argmax()])
            raise InputError(
                f"{record.file}: saturated sensor: {record.pressure_name!r} stays "
                f"flat at its {side} reading from {start_s:.4g} s on; record a "
                "smaller step, or with a sensor of wider range"
            )


def _lacks_noise(pressure_pa: FloatArray, flat: BoolArray) -> bool:
    """Tell whether flat rows stand out from the others' noise."""
    rest_pa = pressure_pa[~flat]
    if len(rest_pa) < FEWEST_ROWS:
        return False
    gaps_pa = np.diff(np.unique(pressure_pa))
    return noise_of(rest_pa) > 2.0 * float(np.median(gaps_pa))


def _goes_beyond(problem: Problem, sign: float, flat: BoolArray) -> bool:
    """Tell whether the rest of the record points beyond them."""
    record = problem.record
    moving = ~flat & (record.time_s > problem.held.times_s[0])
    if (~flat).sum() < FEWEST_ROWS or moving.sum() < _FLAT_ROWS:
        return False
    rest = replace(
        record, time_s=record.time_s[~flat], pressure_pa=record.pressure_pa[~flat]
    )
    best = fit_all(replace(problem, record=rest))[0]
    predicted_pa = predict(best.fit, problem.held, record.time_s[flat])
    beyond_pa = float(np.mean(sign * (predicted_pa - record.pressure_pa[flat])))
    least_pa = max(
        _BEYOND_SHARE * float(np.ptp(record.pressure_pa)),
        2.0 * problem.quantum_pa,
        3.0 * best.residual_pa,
    )
    return beyond_pa > least_pa
