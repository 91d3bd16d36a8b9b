"""The command current over time, held from one point to the next."""

import math
from dataclasses import dataclass

# A millionth of a tick: 1.1 s / 0.1 s is 11 ticks, not 11.000000000000002.
ROUNDING_TICKS = 1e-6


@dataclass(frozen=True)
class Profile:
    """Points of time [s] and current [mA]; each current holds to the next.

    A step list and a logger's recording are the same thing: a logger shows
    what the current was when it looked, and nothing says that it moved in a
    straight line since. ``notes`` tell what a reader should know of a
    recording: rate, jitter, gaps.
    """

    times_s: tuple[float, ...]
    currents_ma: tuple[float, ...]
    notes: tuple[str, ...] = ()


def currents_ma(profile: Profile, tick_s: float, ticks: int) -> list[float]:
    """Give the current at each tick: ``current(k) = last point before k``.

    A point counts from the first tick that is not earlier than its time; of
    two points between the same ticks, the later.

    Parameters
    ----------
    profile : Profile
        The first point at 0 s.
    tick_s : float
        Time from tick to tick [s].
    ticks : int
        How many ticks.

    Returns
    -------
    list of float
        One current for each tick [mA].

    Notes
    -----
    Source: zero-order hold, common practice.

    Examples
    --------
    >>> currents_ma(Profile((0.0, 0.2), (4.0, 12.0)), 0.1, 4)
    [4.0, 4.0, 12.0, 12.0]
    """
    held: list[float] = []
    for time_s, current_ma in zip(profile.times_s, profile.currents_ma, strict=True):
        first = min(math.ceil(time_s / tick_s - ROUNDING_TICKS), ticks)
        del held[first:]
        held.extend([held[-1] if held else current_ma] * (first - len(held)))
        held.append(current_ma)
    del held[ticks:]
    return held + [held[-1]] * (ticks - len(held))
