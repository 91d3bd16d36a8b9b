"""Linear plants written down as matrices, as if linearised."""

import numpy as np

from host_sim.law.settings import LawSettings, Pid
from host_sim.plant.linear import LinearPlant


def linear_plant(a, b, c):
    """Both outputs are the same; source and consumption move nothing."""
    count = len(a)
    inputs = np.zeros((count, 3))
    inputs[:, 0] = b
    names = tuple(f"x{k}" for k in range(count))
    outputs = np.array([c, c], dtype=float)
    return LinearPlant(
        names, np.array(a, float), inputs, outputs, np.zeros((2, 3)), 0.0, ()
    )


SECOND_ORDER = linear_plant([[-1.0, 0.0], [5.0, -5.0]], [3.0, 0.0], [0.0, 1.0])
"""``15 / ((s + 1)(s + 5))``."""
INTEGRATOR = linear_plant([[0.0]], [2.0], [1.0])


def unit_law(gains, tick_s=0.1, **pid):
    """A law that reads the plant's output as it is."""
    return LawSettings(tick_s, pid=Pid(gains, **pid))
