"""How far two runs of the same scenario are apart."""

import math
from dataclasses import dataclass

import numpy as np

from host_sim.loop.record import Run

LSB_PERCENT = 100 / 25_000


@dataclass(frozen=True)
class Agreement:
    """Distance of a run from its reference.

    ``signal_to_noise_db`` compares the reference's own movement (about its
    mean) with the difference of the runs; infinite when they are the same.
    """

    largest_pressure_percent: float
    largest_output_lsb: float
    signal_to_noise_db: float


def compare_runs(run: Run, reference: Run, span_pa: float) -> Agreement:
    """Compare load pressures and outputs, tick by tick.

    Parameters
    ----------
    run, reference : Run
        Of equal length.
    span_pa : float
        Pressure range that is 100 % [Pa].

    Returns
    -------
    Agreement
    """
    signal = reference.columns["load_pa"]
    difference = run.columns["load_pa"] - signal
    output = run.columns["output_percent"] - reference.columns["output_percent"]
    noise = float(np.sum(difference**2))
    power = float(np.sum((signal - signal.mean()) ** 2))
    ratio_db = 10 * math.log10(power / noise) if noise and power else math.inf
    return Agreement(
        largest_pressure_percent=100 * float(np.abs(difference).max()) / span_pa,
        largest_output_lsb=float(np.abs(output).max()) / LSB_PERCENT,
        signal_to_noise_db=ratio_db,
    )
