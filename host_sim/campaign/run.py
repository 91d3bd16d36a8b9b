"""Campaigns: very many runs of one scenario, on any executor, resumable.

A chunk of points is the unit of work and of writing. Each finished chunk is a
file of its own, so a process that is killed loses what its workers were at, at
most one chunk for each of them, and a second run does only what is missing.
What a point gives depends on the campaign and its place alone: executor, chunk
size and order change nothing.

Any `concurrent.futures.Executor` will do. The standard process pool is the
default. Dask brings its own: ``dask.distributed.Client(...).get_executor()``.
With MPI it is ``mpi4py.futures.MPIPoolExecutor()`` in a script started by
``mpiexec -n 65 python -m mpi4py.futures script.py``: rank 0 runs `run_campaign`
and writes the files, the others evaluate; give ``chunks_in_flight`` twice the
number of workers so that none waits. The MPI way is on paper: no test runs it.
"""

import multiprocessing
import os
import signal
import threading
import time
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import (
    FIRST_COMPLETED,
    BrokenExecutor,
    Executor,
    Future,
    ProcessPoolExecutor,
    wait,
)
from contextlib import nullcontext
from dataclasses import dataclass
from multiprocessing.process import BaseProcess
from pathlib import Path

from host_sim.campaign.folder import (
    list_chunks,
    open_folder,
    read_chunk,
    write_chunk,
)
from host_sim.campaign.point import Campaign, Columns
from host_sim.errors import InputError

Progress = Callable[[int, int, float, float], None]
Range = tuple[int, int]

CHUNK_POINTS = 64
PROBES = 256


@dataclass(frozen=True)
class Summary:
    """What a campaign has done: points in all, now, and without an answer.

    ``corrupt_chunks`` names files that could not be read and were run again.
    """

    points: int
    points_run_now: int
    points_failed: int
    corrupt_chunks: tuple[str, ...]


def process_pool(workers: int | None = None) -> ProcessPoolExecutor:
    """Start worker processes that Ctrl-C spares and that outlive nobody.

    Parameters
    ----------
    workers : int, optional
        As many as the machine has processors unless given.

    Returns
    -------
    ProcessPoolExecutor
        Of fresh interpreters: a script that starts it needs
        ``if __name__ == "__main__":`` around its start.

    Source: common practice.

    """
    return ProcessPoolExecutor(
        workers or _processors(),
        mp_context=multiprocessing.get_context("spawn"),
        initializer=_prepare_worker,
    )


def run_campaign(
    campaign: Campaign,
    folder: Path,
    *,
    executor: Executor | None = None,
    chunk_points: int = CHUNK_POINTS,
    chunks_in_flight: int | None = None,
    progress: Progress | None = None,
) -> Summary:
    """Run what is missing of a campaign; the results are in the folder.

    A point that is illegal, raises or gives NaN from the plant is kept with its
    exact numbers and its message. Ctrl-C lets the chunks that are being run
    finish, keeps them, and is raised again.

    Parameters
    ----------
    campaign : Campaign
    folder : Path
        For the results; a folder that holds part of this campaign goes on.
    executor : Executor, optional
        Left open; a `process_pool` of its own unless given.
    chunk_points : int
        Points in a chunk; may differ from that of earlier runs.
    chunks_in_flight : int, optional
        Chunks handed out at once; twice the processors unless given.
    progress : callable, optional
        Called at first and after each chunk: points done, in all, rate [1/s],
        time left [s].

    Returns
    -------
    Summary

    Raises
    ------
    InputError
        No legal point, a folder of another campaign or layout or not writable,
        a worker process that died; finished chunks stay.
    """
    in_flight = 2 * _processors() if chunks_in_flight is None else chunks_in_flight
    _refuse_none(chunk_points=chunk_points, chunks_in_flight=in_flight)
    _refuse_hopeless(campaign)
    open_folder(folder, campaign)
    finished, corrupt, failed = _take_stock(folder)
    book = _Book(folder, campaign.space.count, finished, failed, progress)
    missing = _missing(finished, campaign.space.count, chunk_points)
    with nullcontext(executor) if executor else process_pool() as pool:
        _run_chunks(pool, campaign, missing, book.enter, in_flight)
    return Summary(book.done, book.done_now, book.failed, corrupt)


class _Book:
    """Writes finished chunks and tells how it goes."""

    def __init__(
        self,
        folder: Path,
        total: int,
        finished: list[Range],
        failed: int,
        progress: Progress | None,
    ) -> None:
        self.done = sum(stop - start for start, stop in finished)
        self.done_now, self.failed = 0, failed
        self._folder, self._total, self._progress = folder, total, progress
        self._began_s = time.monotonic()
        self._tell()

    def enter(self, columns: Columns) -> None:
        write_chunk(self._folder, columns)
        self.done += len(columns["index"])
        self.done_now += len(columns["index"])
        self.failed += int(columns["failed"].sum())
        self._tell()

    def _tell(self) -> None:
        if self._progress is not None:
            elapsed_s = time.monotonic() - self._began_s
            rate_per_s = self.done_now / elapsed_s if self.done_now else 0.0
            left = self._total - self.done
            left_s = left / rate_per_s if rate_per_s else float("inf" if left else 0)
            self._progress(self.done, self._total, rate_per_s, left_s)


def _run_chunks(
    pool: Executor,
    campaign: Campaign,
    ranges: Iterable[Range],
    keep: Callable[[Columns], None],
    in_flight: int,
) -> None:
    waiting: set[Future[Columns]] = set()
    try:
        for start, stop in ranges:
            waiting.add(pool.submit(campaign.run_chunk, start, stop))
            if len(waiting) >= in_flight:
                _collect(waiting, keep)
        while waiting:
            _collect(waiting, keep)
    except KeyboardInterrupt:
        running = [future for future in waiting if not future.cancel()]
        for future in running:
            keep(future.result())
        raise
    except BrokenExecutor:
        raise InputError(
            "a worker process died (killed, out of memory, or started by a script "
            "without 'if __name__ == \"__main__\":'); finished chunks stay; run again, "
            "with fewer workers if memory was short"
        ) from None
    finally:
        for future in waiting:
            future.cancel()


def _collect(waiting: "set[Future[Columns]]", keep: Callable[[Columns], None]) -> None:
    finished, _ = wait(waiting, return_when=FIRST_COMPLETED)
    for future in finished:
        keep(future.result())
        waiting.discard(future)


def _take_stock(folder: Path) -> tuple[list[Range], tuple[str, ...], int]:
    """List the ranges that are finished, and drop the files that are corrupt."""
    finished, corrupt, failed = list[Range](), list[str](), 0
    for start, stop, path in list_chunks(folder):
        try:
            columns = read_chunk(path)
        except InputError:
            corrupt.append(path.name)
            path.unlink()
        else:
            finished.append((start, stop))
            failed += int(columns["failed"].sum())
    return finished, tuple(corrupt), failed


def _missing(finished: list[Range], count: int, chunk_points: int) -> Iterator[Range]:
    here = 0
    for start, stop in [*finished, (count, count)]:
        for first in range(here, start, chunk_points):
            yield first, min(first + chunk_points, start)
        here = stop


def _processors() -> int:
    return os.cpu_count() or 1


def _refuse_none(**numbers: int) -> None:
    for name, number in numbers.items():
        if number < 1:
            raise InputError(f"{name}: {number}; ask for 1 or more")


def _refuse_hopeless(campaign: Campaign) -> None:
    count = campaign.space.count
    probes = sorted({k * count // PROBES for k in range(PROBES)})
    refused = campaign.first_refusal(probes)
    if refused is not None:
        raise InputError(
            f"space: no legal point among {len(probes)} of {count} tried; widen or "
            f"move its axes; the first said: {refused}"
        )


def _prepare_worker() -> None:
    # Ctrl-C reaches every process of a terminal; the parent alone decides.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_leave_after, args=(parent,), daemon=True).start()


def _leave_after(parent: BaseProcess) -> None:
    # A parent that was killed cannot tell its workers to stop.
    parent.join()
    os._exit(1)
