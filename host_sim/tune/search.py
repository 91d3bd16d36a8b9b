"""The search for the best choice: many laws on the machines that matter."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import differential_evolution

from host_sim.law.settings import LawSettings
from host_sim.loop.rig import FloatArray
from host_sim.scenario.tuning import Limits
from host_sim.tune.choice import Box, Choice
from host_sim.tune.corners import SmallLoop, worst_ms
from host_sim.tune.rest import MOST_REVERSALS, Resting, count_reversals
from host_sim.tune.trials import Machine, try_laws

CROWD = 4
"""Choices tried at once, for each number sought."""
STRATEGY, RECOMBINATION = "randtobest1bin", 0.8
"""Found best of several on the machines of `bench.tuning` and the shipped press."""
MARGIN = 0.97
"""Share of each limit that the search uses: the rest is for exact gains and a finer
plant, which move the figures a little."""
BROKEN_S = 1e6
"""Added for a broken limit: longer than any settling."""


@dataclass(frozen=True, kw_only=True)
class Figures:
    """What a tuning is worth on the worst machine: what limits are held against.

    Settling of all steps [s], overshoot of the worst step [share], travel of the
    output [strokes a step], peak of the sensitivity, reversals at rest.
    """

    settling_s: float
    overshoot: float
    travel: float
    ms: float
    reversals: float

    def used(self, limits: Limits) -> dict[str, float]:
        """Find what share of each limit is used; above 1 it is broken."""
        return {
            "overshoot": self.overshoot / limits.overshoot,
            "ms": self.ms / limits.ms,
            "travel": self.travel / limits.travel,
            "hunting": self.reversals / MOST_REVERSALS,
        }


@dataclass(frozen=True, kw_only=True)
class Tried(Figures):
    """A choice, tried on some machines."""

    choice: Choice


@dataclass(frozen=True)
class Problem:
    """What is sought: law, machines and loops that it must serve, limits."""

    base: LawSettings
    machines: Sequence[Machine]
    loops: Sequence[SmallLoop]
    resting: Sequence[Resting]
    limits: Limits

    def try_choices(self, choices: Sequence[Choice]) -> list[Tried]:
        """Try choices, each on every machine; those that break Ms on none.

        What was not tried is infinite.
        """
        laws = [choice.law(self.base) for choice in choices]
        peaks = [worst_ms(self.loops, law)[0] for law in laws]
        calm = [k for k, ms in enumerate(peaks) if self._excess_of_ms(ms) <= 0.0]
        figures = np.full((len(laws), 4), np.inf)
        calm_laws = [laws[k] for k in calm]
        worst = try_laws(calm_laws, self.machines).worst()
        turns = count_reversals(calm_laws, self.resting).max(axis=1)
        figures[calm] = np.column_stack(
            (worst.settling_s, worst.overshoot, worst.travel, turns)
        )
        return [
            Tried(
                choice=choice,
                settling_s=settling_s,
                overshoot=overshoot,
                travel=travel,
                ms=ms,
                reversals=reversals,
            )
            for choice, ms, (settling_s, overshoot, travel, reversals) in zip(
                choices, peaks, figures.tolist(), strict=True
            )
        ]

    def _excess_of_ms(self, ms: float) -> float:
        return ms / self.limits.ms - MARGIN

    def cost(self, tried: Tried) -> float:
        """Settling time; behind a broken limit, by how much limits are broken.

        Any choice that holds the limits costs less than any that does not, and
        any that holds Ms less than any that does not.

        Notes
        -----
        Source: Deb, Comput. Methods Appl. Mech. Eng. 186 (2000) 311-338, from
        memory.
        """
        excess_of_ms = self._excess_of_ms(tried.ms)
        # Differential evolution takes no infinite costs.
        if excess_of_ms > 0.0:
            return BROKEN_S * (BROKEN_S + 1.0 + min(excess_of_ms, BROKEN_S))
        shares = [share - MARGIN for share in tried.used(self.limits).values()]
        excess = sum(share for share in shares if share > 0.0)
        return BROKEN_S * (1.0 + min(excess, BROKEN_S)) if excess else tried.settling_s


def search(
    problem: Problem,
    box: Box,
    population: FloatArray,
    generations: int,
    random: np.random.Generator,
    each_generation: Callable[[], None],
) -> tuple[list[Tried], FloatArray]:
    """Seek the choice of least cost by differential evolution.

    Parameters
    ----------
    problem : Problem
    box : Box
    population : ndarray, shape (choices, numbers)
        Points of the box to begin with.
    generations : int
    random : numpy.random.Generator
    each_generation : callable
        Called when a generation has been tried.

    Returns
    -------
    tuple of list of Tried and ndarray
        All that was tried, the best first; the last population.

    Notes
    -----
    Source: Storn and Price, J. Global Optimization 11 (1997) 341-359, from
    memory, through scipy.
    """
    history: list[Tried] = []

    def costs(points: FloatArray) -> FloatArray:
        tried = problem.try_choices([box.choice(point) for point in points.T])
        history.extend(tried)
        each_generation()
        return np.array([problem.cost(each) for each in tried])

    found = differential_evolution(
        costs,
        list(zip(box.low, box.high, strict=True)),
        init=population,
        maxiter=generations - 1,
        strategy=STRATEGY,
        recombination=RECOMBINATION,
        vectorized=True,
        updating="deferred",
        polish=False,
        tol=0.0,
        rng=random,
    )
    return sorted(history, key=problem.cost), found.population


def first_population(
    box: Box, starts: Sequence[Choice], random: np.random.Generator
) -> FloatArray:
    """Draw points of a box, with given choices among them."""
    size = CROWD * len(box.low)
    points = box.low + random.random((size, len(box.low))) * (box.high - box.low)
    given = [box.point(choice) for choice in starts][:size]
    points[: len(given)] = np.reshape(given, (len(given), len(box.low)))
    return points
