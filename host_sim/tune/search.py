"""The search for the best choice: many laws on the machines that matter."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import differential_evolution

from host_sim.law.quantise import quantise
from host_sim.law.read_back import read_back
from host_sim.law.settings import LawSettings
from host_sim.loop.rig import FloatArray
from host_sim.measure.frequency import OpenLoop
from host_sim.scenario.tuning import Limits
from host_sim.tune.choice import Box, Choice
from host_sim.tune.trials import Machine, Scores, try_laws

CROWD = 6
"""Choices tried at once, for each number sought."""
GENERATIONS = 30
STEEP = 4.0
"""How dearly a limit is exceeded, in settling times for twice the limit."""
MARGIN = 0.95
"""Share of each limit that the search uses: the rest is for unseen machines."""


@dataclass(frozen=True)
class Tried:
    """A choice with what it was worth on the worst machine, and its Ms."""

    choice: Choice
    settling_s: float
    overshoot: float
    travel: float
    ms: float


@dataclass(frozen=True)
class Problem:
    """What is sought: machines, law, linear loops, limits."""

    base: LawSettings
    machines: Sequence[Machine]
    loops: Sequence[OpenLoop]
    limits: Limits

    def try_choices(self, choices: Sequence[Choice]) -> list[Tried]:
        """Try choices, each on every machine."""
        laws = [choice.law(self.base) for choice in choices]
        worst = try_laws(laws, self.machines).worst()
        return [
            Tried(choice, settling_s, overshoot, travel, self.ms(law))
            for choice, law, settling_s, overshoot, travel in zip(
                choices,
                laws,
                worst.settling_s.tolist(),
                worst.overshoot.tolist(),
                worst.travel.tolist(),
                strict=True,
            )
        ]

    def ms(self, law: LawSettings) -> float:
        """Largest Ms of the linear loops; infinite where one is unstable."""
        kept = read_back(quantise(law))
        judged = [loop.judge(kept) for loop in self.loops]
        if not all(stable for stable, _, _ in judged):
            return float("inf")
        return max((ms for _, ms, _ in judged), default=0.0)

    def cost(self, tried: Tried) -> float:
        """Settling time, dearer by what exceeds a limit."""
        over = sum(
            max(0.0, figure / (MARGIN * limit) - 1.0)
            for figure, limit in (
                (tried.overshoot, self.limits.overshoot),
                (min(tried.ms, 1e3), self.limits.ms),
                (tried.travel, self.limits.travel),
            )
        )
        return min(tried.settling_s * (1.0 + STEEP * over), 1e12)


def search(
    problem: Problem,
    box: Box,
    starts: Sequence[Choice],
    seed: int,
    each_generation: Callable[[int], None],
    generations: int = GENERATIONS,
) -> list[Tried]:
    """Seek the choice of least cost by differential evolution.

    Parameters
    ----------
    problem : Problem
    box : Box
    starts : sequence of Choice
        Put into the first generation, as far as it has room.
    seed : int
    each_generation : callable
        Called with the number of each generation.
    generations : int

    Returns
    -------
    list of Tried
        All that was tried, the best first.

    Notes
    -----
    Source: Storn and Price, J. Global Optimization 11 (1997) 341-359, from
    memory, through scipy.
    """
    history: list[Tried] = []
    generation = 0

    def costs(points: FloatArray) -> FloatArray:
        nonlocal generation
        tried = problem.try_choices([box.choice(point) for point in points.T])
        history.extend(tried)
        each_generation(generation)
        generation += 1
        return np.array([problem.cost(each) for each in tried])

    differential_evolution(
        costs,
        list(zip(box.low, box.high, strict=True)),
        init=_first(box, starts, seed),
        maxiter=generations - 1,
        vectorized=True,
        updating="deferred",
        polish=False,
        tol=0.0,
        rng=np.random.default_rng(seed),
    )
    return sorted(history, key=problem.cost)


def _first(box: Box, starts: Sequence[Choice], seed: int) -> FloatArray:
    """Draw the first generation, with the given choices among it."""
    size = CROWD * len(box.low)
    shares = np.random.default_rng(seed).random((size, len(box.low)))
    points = box.low + shares * (box.high - box.low)
    given = [box.point(choice) for choice in starts][:size]
    if given:
        points[: len(given)] = given
    return points


def hardest(scores: Scores, count: int) -> list[int]:
    """Choose machines that bind: slowest and furthest overshooting, and the first.

    Parameters
    ----------
    scores : Scores
        Of any number of laws on all machines.
    count : int
        How many for each law and figure.

    Returns
    -------
    list of int
    """
    chosen = {0}
    for figure in (scores.settling_s, scores.overshoot, scores.travel):
        for row in figure:
            chosen.update(np.argsort(-row, kind="stable")[:count].tolist())
    return sorted(chosen)
