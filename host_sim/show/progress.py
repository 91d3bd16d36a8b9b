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

        def each_tick(done: int) -> None:
            if done % EVERY_TICKS == 0:
                bar.advance(task, EVERY_TICKS)

        yield each_tick


@contextmanager
def naming(words: str) -> Iterator[Callable[[str], None]]:
    """Show which of several long things is under way."""
    from rich.console import Console

    out = Console(stderr=True)
    with out.status(words) as status:
        yield lambda name: status.update(f"{words}: {name}")
