"""One measured quantity on its way to converter counts."""

import math
from functools import cached_property

import numpy as np

from host_sim.plant.settings import Channel

FULL_COUNTS = 32767
"""Counts at the upper end of a channel (15 bits)."""


def delay_line(first: float, delay_steps: float) -> list[float]:
    """Make a delay line that has carried ``first`` for ever.

    Examples
    --------
    >>> delay_line(7.0, 1.5), delay_line(7.0, 0.0)
    ([7.0, 7.0, 7.0], [7.0])
    """
    return [first] * (int(delay_steps) + 2 if delay_steps > 0.0 else 1)


def push(line: list[float], head: int, newest: float) -> int:
    """Put the newest sample into a delay line; return its index."""
    head = head + 1 if head + 1 < len(line) else 0
    line[head] = newest
    return head


def delayed(line: list[float], head: int, delay_steps: float) -> float:
    """Sample that a delay line took ``delay_steps`` ago, interpolated.

    Parameters
    ----------
    line : list of float
        Ring of equidistant samples, from `delay_line`.
    head : int
        Index of the newest.
    delay_steps : float
        Delay in sample intervals, not above that of `delay_line` [-].

    Returns
    -------
    float
        Linear interpolation between the two neighbours.

    Examples
    --------
    >>> line = delay_line(0.0, 1.5)
    >>> head = push(line, 0, 10.0)
    >>> head = push(line, head, 20.0)
    >>> delayed(line, head, 0.0), delayed(line, head, 1.5)
    (20.0, 5.0)
    """
    if delay_steps == 0.0:
        return line[head]
    whole = int(delay_steps)
    near = head - whole
    near = near + len(line) if near < 0 else near
    far = near - 1 if near > 0 else len(line) - 1
    return line[near] + (delay_steps - whole) * (line[far] - line[near])


def to_counts(measured: float, low: float, high: float) -> float:
    """Place a quantity on the scale of 0 ... 32767, as a real number.

    Examples
    --------
    >>> to_counts(12.5, 0.0, 25.0), to_counts(26.0, 0.0, 25.0)
    (16383.5, 32767.0)
    """
    share = (measured - low) / (high - low)
    return FULL_COUNTS * min(max(share, 0.0), 1.0)


def quantise(counts: float, bits: int) -> float:
    """Round to the nearest of ``2**bits`` levels, then to whole counts.

    The levels are spread evenly with one at each end, so that full scale reads
    32767 for every converter.

    Examples
    --------
    >>> quantise(16383.5, 12), quantise(32766.0, 12), quantise(3.9, 12)
    (16388.0, 32767.0, 0.0)
    """
    step = FULL_COUNTS / ((1 << bits) - 1)
    level = math.floor(counts / step + 0.5)
    return float(math.floor(level * step + 0.5))


def convert(measured: float, low: float, high: float, bits: int) -> float:
    """Convert a quantity to counts; no bits at all is an ideal converter.

    Examples
    --------
    >>> convert(12.5, 0.0, 25.0, 0), convert(12.5, 0.0, 25.0, 12)
    (16383.5, 16388.0)
    """
    counts = to_counts(measured, low, high)
    return quantise(counts, bits) if bits > 0 else counts


class Converter:
    """Drift, noise and the converter: the end of a channel.

    Every call is one tick later than the last. ``seed`` fixes the noise: the
    same seed gives the same sequence.
    """

    def __init__(
        self, channel: Channel, tick_s: float, seed: int | tuple[int, ...]
    ) -> None:
        self._channel = channel
        self._tick_s = tick_s
        self._ticks = 0
        self._seed = seed

    @cached_property
    def _random(self) -> np.random.Generator:
        # Most channels of a large batch have no noise: starting one takes time.
        return np.random.default_rng(self._seed)

    def counts(self, arriving: float) -> float:
        """Convert what arrives behind delay and lag.

        ``clip((x + drift t + noise - low) / (high - low), 0, 1) 32767``, then
        rounded by `quantise` unless the converter is ideal.

        Returns
        -------
        float
            0 ... 32767; a whole number unless ``bits`` is ``None`` [counts].
        """
        channel = self._channel
        measured = arriving + channel.drift_per_s * (self._ticks * self._tick_s)
        self._ticks += 1
        if channel.noise > 0.0:
            measured += channel.noise * float(self._random.standard_normal())
        return convert(measured, channel.low, channel.high, channel.bits or 0)


class ChannelState:
    """A whole channel that is read once a tick, such as the current loop.

    The true value counts as held from one call to the next. The lag is exact
    for that, so that a step shows one tick later; the delay is interpolated
    between ticks. The first value is taken to have stood for ever.

    Examples
    --------
    >>> current = ChannelState(Channel(0.0, 25.0), tick_s=0.01, seed=1)
    >>> current.counts(20.0)
    26214.0
    """

    def __init__(
        self, channel: Channel, tick_s: float, seed: int | tuple[int, ...]
    ) -> None:
        self._converter = Converter(channel, tick_s, seed)
        self._has_lag = channel.lag_s > 0.0
        self._kept = math.exp(-tick_s / channel.lag_s) if self._has_lag else 0.0
        self._delay_ticks = channel.delay_s / tick_s
        self._line: list[float] = []
        self._head = 0
        self._lagged = 0.0

    def counts(self, true_value: float) -> float:
        """Read the channel at the start of a tick.

        Parameters
        ----------
        true_value : float
            The quantity from now to the next call [unit of the channel].

        Returns
        -------
        float
            0 ... 32767; a whole number unless ``bits`` is ``None`` [counts].
        """
        return self._converter.counts(self.arriving(true_value))

    def arriving(self, true_value: float) -> float:
        """Pass lag and delay only; in place of `counts`, once a tick.

        Returns
        -------
        float
            What the converter sees [unit of the channel].
        """
        if not self._line:
            self._line = delay_line(true_value, self._delay_ticks)
            self._lagged = true_value
        now = self._lagged if self._has_lag else true_value
        self._lagged = true_value + self._kept * (self._lagged - true_value)
        self._head = push(self._line, self._head, now)
        return delayed(self._line, self._head, self._delay_ticks)
