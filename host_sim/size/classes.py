"""A stroke at several classes of capacity, for a figure."""

import math
from dataclasses import replace

from host_sim.size.stroke import Stroke, Trace, run_stroke

PER_DECADE = 5
"""Preferred numbers R5: 1, 1.6, 2.5, 4, 6.3 (ISO 3, from memory)."""
CLASSES = (-2, -1, 1, 2)
"""Classes beside the needed capacity: two below, two above."""
SHOWN = 1.6
"""Wanted times that the curves show."""


def preferred(conductance_m3_s_pa: float, steps: int) -> float:
    """Find a preferred number beside a conductance.

    ``10**(k/5)`` rounded to two digits.

    Parameters
    ----------
    conductance_m3_s_pa : float
        Sonic conductance above 0 [m3/(s Pa)].
    steps : int
        1 for the next one above, -1 for the next one below.

    Returns
    -------
    float
        Sonic conductance [m3/(s Pa)].

    Notes
    -----
    Source: ISO 3, series R5, from memory.

    Examples
    --------
    >>> [preferred(2e-8, k) * 1e8 for k in (-2, -1, 1, 2)]
    [1.0, 1.6, 2.5, 4.0]
    """
    place = PER_DECADE * math.log10(conductance_m3_s_pa)
    nearest = round(place)
    if abs(place - nearest) < 0.05:
        step = nearest + steps
    else:
        step = math.floor(place) + steps if steps > 0 else math.ceil(place) + steps
    return float(f"{10.0 ** (step / PER_DECADE):.1e}")


def class_curves(needed: Stroke) -> tuple[tuple[float, Trace], ...]:
    """Run a stroke at the needed C and at the classes beside it.

    Parameters
    ----------
    needed : Stroke
        With the needed path, above 0.

    Returns
    -------
    tuple of (float, Trace)
        Conductance [m3/(s Pa)], ascending, and the stroke beyond its target.
    """
    own = needed.path.conductance_m3_s_pa
    ladder = sorted([own, *(preferred(own, steps) for steps in CLASSES)])
    # A target that is never passed: the curve goes on.
    beyond = math.inf if needed.kind == "fill" else -math.inf
    endless = replace(needed, target_pa=beyond)
    return tuple(
        (conductance, run_stroke(endless.with_conductance(conductance), SHOWN))
        for conductance in ladder
    )
