"""Loop gain and margins of the sampled loop.

The plant is linear between the ticks and its drive is held; sensor lag belongs
to the plant, transport and computing delay are exact. The law counts as linear:
no limit, no dead band, no rounding, a valve pair as its average, and the supply
at its reference, where compensation is one.
"""

import math

import numpy as np
from scipy.linalg import expm

from host_sim.law.settings import LawSettings
from host_sim.measure.margins import (
    ComplexArray,
    FloatArray,
    Margins,
    Response,
    measure_margins,
)
from host_sim.plant.linear import OUTPUTS, LinearPlant
from host_sim.plant.settings import Channel

LOWEST = 1e-6
"""Lowest frequency looked at, over the highest."""
WHOLE = 1e-9
"""Share of a tick by which a delay may exceed the whole ticks it counts as."""


def _transition(plant: LinearPlant, duration_s: float) -> tuple[FloatArray, FloatArray]:
    """Find ``exp(A t)`` and the integral of ``exp(A s) B`` for the drive."""
    count = len(plant.states)
    block = np.zeros((count + 1, count + 1))
    block[:count, :count], block[:count, count] = plant.a, plant.b[:, 0]
    moved = expm(block * duration_s)
    return moved[:count, :count], moved[:count, count]


def held_response(plant: LinearPlant, tick_s: float, delay_s: float) -> Response:
    """Sensed pressure over held drive, both at the ticks.

    With ``delay = N h - m``, ``0 <= m < h``, ``z = exp(j w h)``:
    ``G = z**-N (C e^(A m) (z I - e^(A h))^-1 int_0^h e^(A s) B ds
    + C int_0^m e^(A s) B ds + D)``.

    Parameters
    ----------
    plant : LinearPlant
    tick_s : float
        Time ``h`` for which the drive is held [s].
    delay_s : float
        Transport delay behind the sensor, any fraction of a tick [s].

    Returns
    -------
    callable
        Angular frequencies [rad/s] to complex gains [Pa].

    Notes
    -----
    Source: modified z-transform of a held input, from memory; any book on
    sampled-data control.
    """
    # A tick count such as 0.03 / 0.01 must not round up to the next one.
    whole = math.ceil(delay_s / tick_s - WHOLE)
    rest_s = max(whole * tick_s - delay_s, 0.0)
    sensed = OUTPUTS.index("sensed_pa")
    c, d = plant.c[sensed], plant.d[sensed, 0]
    phi, gamma = _transition(plant, tick_s)
    phi_rest, gamma_rest = _transition(plant, rest_s)
    shown, direct, identity = c @ phi_rest, c @ gamma_rest + d, np.eye(len(c))

    def response(frequency_rad_s: FloatArray) -> ComplexArray:
        z = np.exp(1j * frequency_rad_s * tick_s)
        matrices = z[:, None, None] * identity - phi
        states = np.linalg.solve(matrices, gamma[None, :, None].astype(complex))
        gain: ComplexArray = (states[:, :, 0] @ shown + direct) * z**-whole
        return gain

    return response


def law_response(law: LawSettings, frequency_rad_s: FloatArray) -> ComplexArray:
    """Output over (negative) pressure reading of the law, at the ticks.

    ``F (kp + ki h z^-1/(1 - z^-1) + kd (1 - z^-1)/(tf + h - tf z^-1))`` with
    the filter ``F = h/(tp + h - tp z^-1)``: the integral acts a tick later.

    Parameters
    ----------
    law : LawSettings
    frequency_rad_s : ndarray
        Angular frequencies above 0 [rad/s].

    Returns
    -------
    ndarray
        Complex gains, drive fraction over pressure fraction [-].

    Examples
    --------
    >>> from host_sim.law.settings import Gains, Pid
    >>> law = LawSettings(0.01, pid=Pid(Gains(2.0, 4.0)))
    >>> abs(law_response(law, np.array([2.0])))
    array([2.8142])
    """
    gains, h, lag_s = law.pid.gains, law.tick_s, law.pid.derivative_filter_s
    back = np.exp(-1j * frequency_rad_s * h)
    filter_s = law.measurement.filter_s
    reading = h / (filter_s + h - filter_s * back)
    terms: ComplexArray = gains.kp + gains.ki_per_s * h * back / (1.0 - back)
    terms = terms + gains.kd_s * (1.0 - back) / (lag_s + h - lag_s * back)
    product: ComplexArray = terms * reading
    return product


def loop_gain(
    plant: LinearPlant,
    channel: Channel,
    law: LawSettings,
    compute_delay_ticks: int = 0,
) -> Response:
    """Loop gain ``L = law z**-n G`` of a sampled loop.

    Parameters
    ----------
    plant : LinearPlant
    channel : Channel
        The pressure channel: its range and transport delay.
    law : LawSettings
    compute_delay_ticks : int
        Ticks ``n`` between decision and drive, as in `Loop`.

    Returns
    -------
    callable
        Angular frequencies, up to ``pi / h`` [rad/s], to complex gains [-].
    """
    held = held_response(plant, law.tick_s, channel.delay_s)
    low, high = law.measurement.channel
    reading_per_pa = (high - low) / (channel.high - channel.low)

    def response(frequency_rad_s: FloatArray) -> ComplexArray:
        late = np.exp(-1j * frequency_rad_s * law.tick_s * compute_delay_ticks)
        plant_gain = held(frequency_rad_s) * reading_per_pa * late
        gain: ComplexArray = law_response(law, frequency_rad_s) * plant_gain
        return gain

    return response


def loop_margins(
    plant: LinearPlant,
    channel: Channel,
    law: LawSettings,
    compute_delay_ticks: int = 0,
) -> Margins:
    """Measure the margins of a sampled loop; parameters as `loop_gain`."""
    highest = math.pi / law.tick_s
    response = loop_gain(plant, channel, law, compute_delay_ticks)
    return measure_margins(response, LOWEST * highest, highest)
