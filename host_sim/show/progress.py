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
