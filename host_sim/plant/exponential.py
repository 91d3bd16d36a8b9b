"""Coefficients that make a fixed step exact for first-order lags.

A lag is ``dx/dt = -x / lag + target / lag``. The exponential Runge-Kutta method
of order 4 takes the first term exactly, so that a lag bounds no step by its
stability; for a state without lag it is the classic Runge-Kutta method.
"""

import math
from itertools import count

from host_sim.plant import layout

# Rows of the coefficients; each is as long as the state.
HALF_DECAY = 0  # factor of a state over half a step, as if there were no rate
DECAY = 1  # the same over the whole step
HALF_GAIN = 2  # weight of a constant rate over half a step [s]
FIRST = 3  # weight of the rate at the start in the whole step [s]
MIDDLE = 4  # of each of the two rates half way [s]
LAST = 5  # of the rate at the end [s]


def phi_functions(z: float) -> tuple[float, float, float]:
    """Means of an exponential that the step's quadrature needs.

    ``phi1 = (e^z - 1)/z``, ``phi2 = (phi1 - 1)/z``, ``phi3 = (phi2 - 1/2)/z``;
    below ``|z| = 1``, where these cancel, upwards from the series
    ``phi3 = sum z^k / (k + 3)!``.

    Parameters
    ----------
    z : float
        Step times linear rate, 0 or less [-].

    Returns
    -------
    phi1, phi2, phi3 : float
        1, 1/2 and 1/6 at ``z = 0`` [-].

    Examples
    --------
    >>> phi_functions(-2.0)
    (0.43233, 0.28383, 0.10808)
    """
    if abs(z) >= 1.0:
        phi1 = math.expm1(z) / z
        phi2 = (phi1 - 1.0) / z
        return phi1, phi2, (phi2 - 0.5) / z
    term = phi3 = 1.0 / 6.0
    for k in count(4):
        term *= z / k
        phi3 += term
        if abs(term) < 1e-17:
            break
    phi2 = 0.5 + z * phi3
    return 1.0 + z * phi2, phi2, phi3


def lag_rates(params: list[float], states: int) -> list[float]:
    """List ``1 / lag`` of every state; 0 where it is no lag [1/s]."""
    rates = [0.0] * states
    rates[layout.POSITION] = params[layout.LAG_RATE]
    rates[layout.SENSED] = params[layout.SENSED_RATE]
    rates[layout.SENSED_SUPPLY] = params[layout.SENSED_SUPPLY_RATE]
    if states == layout.CHAIN_STATES and params[layout.PILOT_IS_LAG] > 0.0:
        rates[layout.PILOT] = params[layout.PILOT_RATE]
    return rates


def step_coefficients(rates: list[float], step_s: float) -> list[float]:
    """Write down the six numbers with which each state takes a step.

    With ``z = -rate h``: ``e^(z/2)``, ``e^z``, ``h/2 phi1(z/2)``, and the weights
    ``h (phi1 - 3 phi2 + 4 phi3)``, ``h (2 phi2 - 4 phi3)``, ``h (4 phi3 - phi2)``
    at ``z``. Without lag they are 1, 1, h/2, h/6, h/3, h/6.

    Parameters
    ----------
    rates : list of float
        From `lag_rates` [1/s].
    step_s : float
        Length ``h`` of a step [s].

    Returns
    -------
    list of float
        Row after row in the order `HALF_DECAY` ... `LAST`.

    Notes
    -----
    Source: Cox and Matthews, J. Comput. Phys. 176 (2002), scheme ETD4RK; Kassam
    and Trefethen, SIAM J. Sci. Comput. 26 (2005), on its cancellation. Both from
    memory; the tests check exactness and order.

    Examples
    --------
    >>> step_coefficients([0.0], 0.6)
    [1.0, 1.0, 0.3, 0.1, 0.2, 0.1]
    """
    columns = []
    for rate_per_s in rates:
        z = -rate_per_s * step_s
        phi1, phi2, phi3 = phi_functions(z)
        columns.append(
            (
                math.exp(0.5 * z),
                math.exp(z),
                0.5 * step_s * phi_functions(0.5 * z)[0],
                step_s * (phi1 - 3.0 * phi2 + 4.0 * phi3),
                step_s * (2.0 * phi2 - 4.0 * phi3),
                step_s * (4.0 * phi3 - phi2),
            )
        )
    return [number for row in zip(*columns, strict=True) for number in row]
