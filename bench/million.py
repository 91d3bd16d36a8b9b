"""Run very many different loops in bounded memory; say how long it took.

``python -m bench.million`` runs 20 000 loops of 500 ticks; with
``--loops 1000000`` the whole million, and writes results/million.md. Every loop
has its own volume, conductances, valve lag and gains. Processes prepare and run
the loops, a chunk at a time; what a chunk leaves is a few counts.
"""

import argparse
import os
import resource
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from time import perf_counter

import numpy as np
import numpy.typing as npt

from bench.host_answer import WrongAnswerError
from bench.host_case import draw_scenarios, load_case, with_ticks
from bench.host_machine import describe_machine
from bench.host_ours import check_marks, marks_of, record
from host_sim.campaign.run import Progress, process_pool
from host_sim.loop.batch import BLOCK, Watched, run_batch
from host_sim.loop.rig import make_rig
from host_sim.loop.watch import PEAK, REACH_50, TOTAL
from host_sim.measure.watched import watch_steps
from host_sim.show.files import make_folder, write_whole
from host_sim.show.progress import counting

RESULTS = Path(__file__).with_name("results")
TICKS = 500
TRIAL, MILLION = 20_000, 1_000_000
CHUNK = BLOCK
SEED = 31_415
LAG_FACTORS = (0.8, 4.0)
OVERSHOOT_EDGES_PERCENT = (0.0, 0.5, 1.0, 2.0, 5.0, 10.0, np.inf)
T50_EDGES_S = (0.0, 0.3, 0.4, 0.5, 0.6, 0.8, np.inf)
KIB = 1024
Counts = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Tally:
    """What is kept of any number of loops.

    Attributes
    ----------
    loops, failed : int
        All of them, and those that gave a number that is not finite.
    overshoot, t50 : int array
        Loops between the edges above; the first step of each counts.
    """

    loops: int
    failed: int
    overshoot: Counts
    t50: Counts

    def __add__(self, other: "Tally") -> "Tally":
        """Count the loops of both."""
        return Tally(
            self.loops + other.loops,
            self.failed + other.failed,
            self.overshoot + other.overshoot,
            self.t50 + other.t50,
        )


NOTHING = Tally(
    0,
    0,
    np.zeros(len(OVERSHOOT_EDGES_PERCENT) - 1, dtype=np.int64),
    np.zeros(len(T50_EDGES_S) - 1, dtype=np.int64),
)


@dataclass(frozen=True)
class Done:
    """A finished chunk, and how much memory its process ever held."""

    tally: Tally
    process: int
    peak_bytes: int


def run_chunk(number: int, count: int) -> Done:
    """Prepare, run and count the loops of a chunk; the first is checked alone."""
    marks = []
    for place, found in enumerate(run_batch(_loops(number, count), workers=1)):
        if place == 0:
            first = next(_loops(number, 1))
            alone = record(first.rig, first.rig.ticks)[1]
            check_marks("lanes", [found], [marks_of(first.windows, alone)])
        marks.append(found[0])
    table = np.array(marks)
    sound = table[np.isfinite(table[:, TOTAL])]
    overshoot_percent = np.maximum(100.0 * (sound[:, PEAK] - 1.0), 0.0)
    # A time that never came is negative, and in no class.
    t50_s = sound[:, REACH_50] * load_case().law.tick_s
    tally = Tally(
        loops=count,
        failed=count - len(sound),
        overshoot=np.histogram(overshoot_percent, OVERSHOOT_EDGES_PERCENT)[0],
        t50=np.histogram(t50_s, T50_EDGES_S)[0],
    )
    return Done(tally, os.getpid(), peak_bytes())


def _loops(number: int, count: int) -> Iterator[Watched]:
    # One more: the pressure after the last tick counts too.
    scenario = with_ticks(load_case(), TICKS + 1)
    windows = watch_steps(scenario, make_rig(scenario)).windows
    for drawn in draw_scenarios(scenario, count, (SEED, number), LAG_FACTORS):
        yield Watched(make_rig(drawn), windows)


def peak_bytes() -> int:
    """Tell the most memory that this process ever held."""
    return KIB * resource.getrusage(resource.RUSAGE_SELF).ru_maxrss


def run_loops(loops: int, progress: Progress) -> tuple[Tally, int]:
    """Run loops on all processors.

    Returns
    -------
    Tally
    int
        The most memory that this process and its workers held together [byte].
    """
    sizes = [min(CHUNK, loops - start) for start in range(0, loops, CHUNK)]
    total, peaks = NOTHING, dict[int, int]()
    began = perf_counter()
    with process_pool() as pool:
        for done in pool.map(run_chunk, range(len(sizes)), sizes):
            total += done.tally
            peaks[done.process] = done.peak_bytes
            rate_per_s = total.loops / (perf_counter() - began)
            progress(total.loops, loops, rate_per_s, (loops - total.loops) / rate_per_s)
    return total, peak_bytes() + sum(peaks.values())


def as_text(tally: Tally, took_s: float, peak: int) -> str:
    """Write what was run, how long it took, and what the loops did."""
    ticks = tally.loops * TICKS
    machine = describe_machine()
    lines = [
        f"{tally.loops} loops of {TICKS} ticks in {took_s:.1f} s: "
        f"{tally.loops / took_s:.0f} loops/s, {ticks / took_s / 1e6:.2f} million "
        f"ticks/s, preparing included. At most {peak / 1e6:.0f} MB resident, all "
        f"processes together. {tally.failed} loops left the physical range.",
        "",
        f"On {machine['processor']}, {machine['cores']} cores, load average "
        f"{machine['load_average']}.",
        "",
        *_classes("overshoot, %", OVERSHOOT_EDGES_PERCENT, tally.overshoot),
        "",
        *_classes("t50, s", T50_EDGES_S, tally.t50),
    ]
    return "\n".join(lines) + "\n"


def _classes(what: str, edges: tuple[float, ...], counts: Counts) -> list[str]:
    return [
        f"| {what} | loops |",
        "| --- | ---: |",
        *(
            f"| {low:g} ... {high:g} | {count} |"
            for low, high, count in zip(edges, edges[1:], counts, strict=False)
        ),
    ]


def main() -> int:
    """Run, print; keep the text of a whole million."""
    parser = argparse.ArgumentParser(
        prog="python -m bench.million", description=__doc__
    )
    parser.add_argument("--loops", type=_some, default=TRIAL, help="how many")
    loops = parser.parse_args().loops
    began = perf_counter()
    try:
        with counting("loops", "loops") as progress:
            tally, peak = run_loops(loops, progress)
    except WrongAnswerError as error:
        print(error, file=sys.stderr)
        return 1
    text = as_text(tally, perf_counter() - began, peak)
    if loops >= MILLION:
        make_folder(RESULTS)
        write_whole(RESULTS / "million.md", lambda path: path.write_text(text))
    print(text, end="")
    return 0


def _some(text: str) -> int:
    loops = int(text)
    if loops < 1:
        raise argparse.ArgumentTypeError(f"{text}: ask for 1 or more")
    return loops


if __name__ == "__main__":
    sys.exit(main())
