"""Many loops at once: side by side in the lanes of the processor, over all cores.

Loops of one shape, one number of substeps and one tick share code and run in
lanes; a lane computes exactly what its loop computes alone. Nothing is recorded:
`watch` keeps what each response was worth.
"""

import os
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import islice
from typing import Any

import numpy as np

from host_sim.loop.native import watcher
from host_sim.loop.rig import FloatArray, Rig, side_by_side
from host_sim.loop.watch import LEVELS, MARKS

LANES = 16
"""Two registers of eight float64 numbers hide each other's latency."""

TAIL_START = 0.9
"""Share of a window after which its end is judged, as in `measure.response`."""

BLOCK = 4096
"""Loops prepared at a time: what bounds the memory."""


@dataclass(frozen=True)
class Window:
    """One step of a loop to be watched.

    Parameters
    ----------
    first, ticks : int
        First tick, and how many.
    from_pa, to_pa : float
        Pressure of 0 and 100 % progress [Pa].
    band : float
        Settle band, share of the step [-].
    """

    first: int
    ticks: int
    from_pa: float
    to_pa: float
    band: float

    def levels(self) -> tuple[float, ...]:
        """Return what `watch` reads."""
        return self.from_pa, self.to_pa, self.band, TAIL_START * self.ticks


@dataclass(frozen=True)
class Watched:
    """A loop and the steps of it to be watched, in order and back to back."""

    rig: Rig
    windows: tuple[Window, ...]


def run_batch(
    loops: Iterable[Watched], workers: int | None = None
) -> Iterator[FloatArray]:
    """Run loops to the end of their last window.

    Parameters
    ----------
    loops : iterable of Watched
        Taken as needed; may be endless.
    workers : int, optional
        Threads; one for each processor unless given.

    Yields
    ------
    ndarray, shape (windows, marks)
        What `watch` found, loop after loop, in the order given.
    """
    source = iter(loops)
    with ThreadPoolExecutor(workers or os.cpu_count()) as pool:
        while block := list(islice(source, BLOCK)):
            groups = _groups(block)
            found: list[FloatArray | None] = [None] * len(block)
            jobs = pool.map(lambda g: _run_group([block[i] for i in g]), groups)
            for places, results in zip(groups, jobs, strict=True):
                for place, result in zip(places, results, strict=True):
                    found[place] = result
            yield from (result for result in found if result is not None)


def _groups(block: Sequence[Watched]) -> list[list[int]]:
    """Sort loops that can share lanes together, at most as many as there are."""
    kinds: dict[Any, list[int]] = {}
    for place, loop in enumerate(block):
        kinds.setdefault(_kind(loop), []).append(place)
    return [
        places[start : start + LANES]
        for places in kinds.values()
        for start in range(0, len(places), LANES)
    ]


def _kind(loop: Watched) -> tuple[Any, ...]:
    rig = loop.rig
    cuts = tuple((window.first, window.ticks) for window in loop.windows)
    return rig.shape, rig.tick_s, rig.delay_ticks, rig.substeps, cuts


def _run_group(loops: Sequence[Watched]) -> list[FloatArray]:
    """Run one group; empty lanes repeat the last loop."""
    lanes = LANES if len(loops) > 1 else 1
    padded = [*loops, *[loops[-1]] * (lanes - len(loops))]
    arguments = side_by_side([loop.rig for loop in padded])
    run = watcher(padded[0].rig.shape, lanes)
    marks = np.zeros((len(loops[0].windows), len(MARKS), lanes))
    tick = 0
    for number, window in enumerate(loops[0].windows):
        levels = np.zeros((LEVELS, lanes))
        for lane, loop in enumerate(padded):
            levels[:, lane] = loop.windows[number].levels()
        if window.first > tick:
            skipped = np.zeros((len(MARKS), lanes))
            arguments.update(first=tick, ticks=window.first - tick)
            run({**arguments, "levels": levels, "marks": skipped})
        arguments.update(first=window.first, ticks=window.ticks)
        run({**arguments, "levels": levels, "marks": marks[number]})
        tick = window.first + window.ticks
    return list(np.moveaxis(marks, -1, 0)[: len(loops)])
