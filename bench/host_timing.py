"""Timing several things in turn, so that a slow moment hits them all."""

import os
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from statistics import median
from time import process_time

core_clock = process_time
"""For what one core does: the time that other programs take does not count."""

ROUND_S = 0.1
"""Time that each entrant gets in a round; it runs at least once."""


@dataclass(frozen=True)
class Entrant:
    """Something to be timed.

    Attributes
    ----------
    name : str
    ticks : int
        Ticks of all its loops in one go.
    go : Callable
        Runs once, checks the answer, returns the seconds that the running took.
    """

    name: str
    ticks: int
    go: Callable[[], float]


@dataclass(frozen=True)
class Speed:
    """How fast an entrant was: in its best go, and in its median round."""

    name: str
    best_ticks_per_s: float
    median_ticks_per_s: float


@contextmanager
def one_core() -> Iterator[None]:
    """Keep this process and what it starts on one core, where that is possible."""
    if not hasattr(os, "sched_setaffinity"):
        yield
        return
    before = os.sched_getaffinity(0)
    os.sched_setaffinity(0, {max(before)})
    try:
        yield
    finally:
        os.sched_setaffinity(0, before)


def race(
    entrants: Sequence[Entrant], rounds: int, tell: Callable[[str], None]
) -> dict[str, Speed]:
    """Let all run in turn, round after round; the first round warms up.

    Parameters
    ----------
    entrants : sequence of Entrant
    rounds : int
        That count.
    tell : callable
        Called with what is about to run.

    Returns
    -------
    dict of str to Speed
        By the entrants' names.
    """
    took_s: dict[str, list[float]] = {entrant.name: [] for entrant in entrants}
    for number in range(rounds + 1):
        for entrant in entrants:
            tell(f"{entrant.name}, round {number} of {rounds}")
            best_s = _best_of_round(entrant)
            if number:
                took_s[entrant.name].append(best_s)
    return {
        entrant.name: Speed(
            entrant.name,
            entrant.ticks / min(took_s[entrant.name]),
            entrant.ticks / median(took_s[entrant.name]),
        )
        for entrant in entrants
    }


def _best_of_round(entrant: Entrant) -> float:
    spent_s, best_s = 0.0, float("inf")
    while spent_s < ROUND_S:
        last_s = entrant.go()
        spent_s += last_s
        best_s = min(best_s, last_s)
    return best_s
