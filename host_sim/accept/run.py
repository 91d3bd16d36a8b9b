"""One sequence run on one rig, from the first tick to its figures."""

from collections.abc import Callable
from dataclasses import dataclass

from host_sim.accept.bench import Bench, Rest, Sequence, unable
from host_sim.accept.figures import Figure
from host_sim.accept.rig import Rig
from host_sim.accept.rows import Rows
from host_sim.measure.static_table import StaticRange


@dataclass(frozen=True)
class Finished:
    """A sequence that ran to its end, or that the rig cannot do (no rows)."""

    name: str
    rows: Rows
    figures: tuple[Figure, ...]


def run_sequence(
    sequence: Sequence,
    rig: Rig,
    span: StaticRange,
    rest: Rest | None = None,
    each_tick: Callable[[int], None] | None = None,
) -> Finished:
    """Run a sequence and work its figures out from its rows.

    Parameters
    ----------
    sequence : Sequence
    rig : Rig
        As it stands; a fresh one for figures that can be repeated.
    span : StaticRange
        What current means what pressure.
    rest : Rest, optional
        When a pressure counts as at rest.
    each_tick : callable, optional
        Called with the number of ticks done.

    Returns
    -------
    Finished
    """
    refused = unable(sequence, rig)
    if refused:
        return Finished(sequence.name, Rows(), tuple(refused))
    bench = Bench(rig, span, rest, each_tick)
    sequence.run(bench)
    figures = sequence.evaluate(bench.rows, span)
    return Finished(sequence.name, bench.rows, tuple(figures))
