"""A search in rounds: each looks at the whole family and adds what binds there."""

from collections.abc import Callable, Sequence

import numpy as np

from host_sim.scenario.tuning import Limits
from host_sim.tune.bench import Bench, Row
from host_sim.tune.choice import Choice
from host_sim.tune.search import Problem, Tried, first_population, search

FINALISTS = 12
"""Choices of a round that are tried on the whole family."""
BINDING = 4
"""So many of them, the best, say which machines and loops bind."""

NEAR = 0.7
"""Share of a limit from which the machine that uses it most counts as binding."""


class Seeker:
    """A search for the choice that serves a family best within limits.

    A round tries many choices on a few machines and linear loops, then some of the
    best on all; those that bind there join the few. The population goes on from
    round to round.

    Parameters
    ----------
    bench : Bench
    seed : int or tuple of int
        The same seed finds the same.
    rows : sequence of Row
        Tunings already tried, which say what binds at first.

    Attributes
    ----------
    limits : Limits
        Those of the bench's scenario unless others are set.
    tries : int
        Choices tried so far.
    finalists : list of tuple of Choice and Row
        The best of all rounds on the whole family, the best first.
    """

    def __init__(
        self, bench: Bench, seed: int | tuple[int, ...], rows: Sequence[Row]
    ) -> None:
        self.bench = bench
        self.limits: Limits = bench.scenario.limits
        self.tries = 0
        self.finalists: list[tuple[Choice, Row]] = []
        self._random = np.random.default_rng(seed)
        self._population = first_population(bench.box, bench.starts, self._random)
        self._places = {0}
        self._names: set[str] = set()
        self._restless: set[str] = set()
        self._add_binding(rows)

    def go_on(
        self, generations: int, each_generation: Callable[[], None]
    ) -> list[Tried]:
        """Search for another round.

        Parameters
        ----------
        generations : int
        each_generation : callable
            Called when a generation has been tried.

        Returns
        -------
        list of Tried
            All that this round tried on some of the machines, the best first.
        """
        bench, base = self.bench, self.bench.scenario.law
        problem = Problem(
            base,
            [bench.machines[place] for place in sorted(self._places)],
            [loop for loop in bench.loops if loop.name in self._names],
            [each for each in bench.resting if each.name in self._restless],
            self.limits,
        )
        tried, self._population = search(
            problem,
            bench.box,
            self._population,
            generations,
            self._random,
            each_generation,
        )
        self.tries += len(tried)
        choices = list(dict.fromkeys(each.choice for each in tried))[:FINALISTS]
        laws = [choice.law(base) for choice in choices]
        rows = bench.rows(["chosen" for _ in laws], laws)
        pairs = [*self.finalists, *zip(choices, rows, strict=True)]
        ranked = sorted(pairs, key=lambda pair: pair[1].rank(self.limits))
        self.finalists = ranked[:FINALISTS]
        self._add_binding(rows)
        return tried

    def _add_binding(self, rows: Sequence[Row]) -> None:
        for row in sorted(rows, key=lambda row: row.rank(self.limits))[:BINDING]:
            slowest, furthest, busiest = row.places
            used = row.used(self.limits)
            self._places.add(slowest)
            self._places |= {furthest} if used["overshoot"] > NEAR else set()
            self._places |= {busiest} if used["travel"] > NEAR else set()
            self._names.add(row.worst["ms"])
            self._restless.add(row.worst["hunting"])
