"""Progress on standard error, only where somebody watches."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager

EVERY_TICKS = 100


@contextmanager
def ticking(words: str, ticks: int) -> Iterator[Callable[[int], None]]:
    """Show a bar over a number of ticks; yields what to call after each."""
    from rich.console import Console
    from rich.progress import Progress

    out = Console(stderr=True)
    with Progress(console=out, transient=True, disable=not out.is_terminal) as bar:
        task = bar.add_task(words, total=ticks)
        last = 0

        def each_tick(done: int) -> None:
            # A second run under the same bar counts from its own start.
            nonlocal last
            last = last if done > last else 0
            if done - last >= EVERY_TICKS:
                bar.advance(task, done - last)
                last = done

        yield each_tick


@contextmanager
def naming(words: str) -> Iterator[Callable[[str], None]]:
    """Show which of several long things is under way."""
    from rich.console import Console

    out = Console(stderr=True)
    with out.status(words) as status:
        yield lambda name: status.update(f"{words}: {name}")


@contextmanager
def counting(
    words: str, things: str
) -> Iterator[Callable[[int, int, float, float], None]]:
    """Show how many of many things are done, their rate and the time left.

    Yields what `campaign.run_campaign` calls: done, in all, rate [1/s], time
    left [s].
    """
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

    out = Console(stderr=True)
    columns = (
        TextColumn(words),
        BarColumn(),
        MofNCompleteColumn(),
        TextColumn("{task.fields[rate]}"),
    )
    with Progress(*columns, console=out, disable=not out.is_terminal) as bar:
        task = bar.add_task(words, total=None, rate="")

        def each(done: int, total: int, rate_per_s: float, left_s: float) -> None:
            left = "" if left_s == float("inf") else f", {left_s:.0f} s left"
            rate = f"{rate_per_s:.3g} {things}/s{left}" if rate_per_s else ""
            bar.update(task, completed=done, total=total, rate=rate)

        yield each


@contextmanager
def sharing() -> Iterator[Callable[[str, float], None]]:
    """Show what is done now, and the share of the whole that is behind.

    Yields what `tune.tune` calls: words, share done [-].
    """
    from rich.console import Console
    from rich.progress import Progress

    out = Console(stderr=True)
    with Progress(console=out, transient=True, disable=not out.is_terminal) as bar:
        task = bar.add_task("", total=1.0)
        yield lambda words, share: bar.update(task, description=words, completed=share)
