"""Loop gain and margins of the sampled loop.

The plant is linear between the ticks and its drive is held; sensor lag belongs
to the plant, transport and computing delay are exact. The law counts as linear:
no limit, no dead band, no rounding, a valve pair as its average, and the supply
at its reference, where compensation is one.
"""

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.linalg import expm

from host_sim.law.settings import LawSettings
from host_sim.measure.margins import (
    TINY,
    ComplexArray,
    FloatArray,
    Margins,
    Response,
    frequencies,
    is_stable,
    measure_margins,
)
from host_sim.plant.linear import OUTPUTS, LinearPlant
from host_sim.plant.settings import Channel

LOWEST = 1e-6
"""Lowest frequency looked at, over the highest."""
GRID_POINTS = 400
"""Of each half of the grid on which laws are judged quickly."""
NEAREST = 1e-12
"""Least distance squared of L from -1 that is told apart from none."""
WHOLE = 1e-9
"""Share of a tick by which a delay may exceed the whole ticks it counts as."""


def _transition(plant: LinearPlant, duration_s: float) -> tuple[FloatArray, FloatArray]:
    """Find ``exp(A t)`` and the integral of ``exp(A s) B`` for the drive."""
    count = len(plant.states)
    block = np.zeros((count + 1, count + 1))
    block[:count, :count], block[:count, count] = plant.a, plant.b[:, 0]
    moved = expm(block * duration_s)
    return moved[:count, :count], moved[:count, count]


@dataclass(frozen=True)
class HeldPlant:
    """A plant between ticks: ``x+ = phi x + gamma u``, ``y`` a while later.

    The sensed pressure is ``shown x + direct u`` of ``whole_ticks`` ago.
    """

    phi: FloatArray
    gamma: FloatArray
    shown: FloatArray
    direct: float
    whole_ticks: int


def hold(plant: LinearPlant, tick_s: float, delay_s: float) -> HeldPlant:
    """Move a plant from tick to tick under a held drive, delay and all.

    With ``delay = N h - m``, ``0 <= m < h``: ``phi = e^(A h)``,
    ``gamma = int_0^h e^(A s) B ds``, ``shown = C e^(A m)``,
    ``direct = C int_0^m e^(A s) B ds + D``, ``whole_ticks = N``.

    Parameters
    ----------
    plant : LinearPlant
    tick_s : float
        Time ``h`` for which the drive is held [s].
    delay_s : float
        Transport delay behind the sensor, any fraction of a tick [s].

    Returns
    -------
    HeldPlant

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
    return HeldPlant(phi, gamma, c @ phi_rest, float(c @ gamma_rest + d), whole)


def held_response(plant: LinearPlant, tick_s: float, delay_s: float) -> Response:
    """Sensed pressure over held drive, both at the ticks.

    ``G = z^-N (shown (z I - phi)^-1 gamma + direct)``, ``z = exp(j w h)``.

    Parameters
    ----------
    plant : LinearPlant
    tick_s, delay_s : float
        As for `hold` [s].

    Returns
    -------
    callable
        Angular frequencies [rad/s] to complex gains [Pa].
    """
    held = hold(plant, tick_s, delay_s)
    identity, gamma = np.eye(len(held.gamma)), held.gamma.astype(complex)

    def response(frequency_rad_s: FloatArray) -> ComplexArray:
        z = np.exp(1j * frequency_rad_s * tick_s)
        matrices = z[:, None, None] * identity - held.phi
        states = np.linalg.solve(matrices, gamma[None, :, None])[:, :, 0]
        gain: ComplexArray = (states @ held.shown + held.direct) * z**-held.whole_ticks
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


def reading_over_pa(channel: Channel, law: LawSettings) -> float:
    """Pressure reading of the law over sensed pressure [1/Pa]."""
    low, high = law.measurement.channel
    return (high - low) / (channel.high - channel.low)


@dataclass(frozen=True)
class OpenLoop:
    """A loop without its gains: made once, to try many of them on.

    ``seen`` is the law's reading over its output. It holds for every law with
    the same tick, calibration and computing delay.
    """

    seen: Response
    tick_s: float

    def gain(self, law: LawSettings) -> Response:
        """Close it: loop gain at frequencies up to ``pi / h`` [rad/s]."""

        def response(frequency_rad_s: FloatArray) -> ComplexArray:
            pid = law_response(law, frequency_rad_s)
            gain: ComplexArray = pid * self.seen(frequency_rad_s)
            return gain

        return response

    def margins(self, law: LawSettings) -> Margins:
        """Measure the margins with a law's gains, to rounding."""
        highest = math.pi / self.tick_s
        return measure_margins(self.gain(law), LOWEST * highest, highest)

    @cached_property
    def _grid(self) -> tuple[FloatArray, ComplexArray]:
        highest = math.pi / self.tick_s
        grid = frequencies(LOWEST * highest, highest, GRID_POINTS)
        return grid, self.seen(grid)

    def judge(self, law: LawSettings) -> tuple[bool, float, float]:
        """Tell quickly whether a law's loop is stable, and Ms and Mt.

        The peaks are the vertices of parabolas through a grid: within 0.1 % up
        to 2 and within 1 % up to 10; `margins` is right to rounding.
        """
        grid, seen = self._grid
        gains = law_response(law, grid) * seen
        above = np.abs(1.0 + gains) ** 2
        size = np.maximum(np.abs(gains) ** 2, TINY)
        ms, mt = (_lowest(grid, part) ** -0.5 for part in (above, above / size))
        return is_stable(grid, gains), ms, mt


def _lowest(at: FloatArray, heights: FloatArray) -> float:
    """Find the vertex of the parabola through the lowest point and its neighbours."""
    k = int(np.argmin(heights))
    if not 0 < k < len(at) - 1:
        return float(heights[k])
    left, right = at[k] - at[k - 1], at[k + 1] - at[k]
    fall, rise = heights[k - 1] - heights[k], heights[k + 1] - heights[k]
    bend = (fall / left + rise / right) / (left + right)
    slope = rise / right - bend * right
    vertex = heights[k] - slope**2 / (4.0 * bend) if bend > 0.0 else heights[k]
    return max(float(vertex), NEAREST)


def open_loop(
    plant: LinearPlant,
    channel: Channel,
    law: LawSettings,
    compute_delay_ticks: int = 0,
) -> OpenLoop:
    """Prepare a sampled loop ``L = law z**-n G`` for any gains.

    Parameters
    ----------
    plant : LinearPlant
    channel : Channel
        The pressure channel: its range and transport delay.
    law : LawSettings
        Its tick and calibration.
    compute_delay_ticks : int
        Ticks ``n`` between decision and drive, as in `Loop`.

    Returns
    -------
    OpenLoop
    """
    held = held_response(plant, law.tick_s, channel.delay_s)
    reading_per_pa = reading_over_pa(channel, law)

    def seen(frequency_rad_s: FloatArray) -> ComplexArray:
        late = np.exp(-1j * frequency_rad_s * law.tick_s * compute_delay_ticks)
        gain: ComplexArray = held(frequency_rad_s) * reading_per_pa * late
        return gain

    return OpenLoop(seen, law.tick_s)


def loop_gain(
    plant: LinearPlant,
    channel: Channel,
    law: LawSettings,
    compute_delay_ticks: int = 0,
) -> Response:
    """Loop gain of a sampled loop; parameters as `open_loop`.

    Returns
    -------
    callable
        Angular frequencies, up to ``pi / h`` [rad/s], to complex gains [-].
    """
    return open_loop(plant, channel, law, compute_delay_ticks).gain(law)


def loop_margins(
    plant: LinearPlant,
    channel: Channel,
    law: LawSettings,
    compute_delay_ticks: int = 0,
) -> Margins:
    """Measure the margins of a sampled loop; parameters as `open_loop`."""
    return open_loop(plant, channel, law, compute_delay_ticks).margins(law)
