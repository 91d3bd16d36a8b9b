"""One point of a campaign, and a chunk of them: pure, wherever it runs."""

import inspect
import math
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import asdict, dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from host_sim.campaign.paths import (
    check_path,
    check_range,
    numeric_paths,
    replace_at,
)
from host_sim.campaign.space import Space, noise_seed
from host_sim.errors import InputError
from host_sim.law.quantise import quantise
from host_sim.loop.batch import Watched
from host_sim.loop.rig import make_rig
from host_sim.measure.watched import measure_batch, watch_steps
from host_sim.plant.plant import Plant
from host_sim.scenario.load import Scenario

Evaluate = Callable[[Scenario], Mapping[str, float]]
Columns = dict[str, npt.NDArray[Any]]
Answer = tuple[dict[str, float], str]
LONGEST_MESSAGE = 500


NOT_FINITE = (
    "the plant gave a number that is not finite; run this point alone to see where"
)


def measure_largest_steps(
    scenarios: Iterable[Scenario | InputError],
) -> Iterator[dict[str, float] | InputError]:
    """Run scenarios side by side and measure the largest step of each.

    Parameters
    ----------
    scenarios : iterable of Scenario or InputError
        An illegal one is its own refusal, and is passed on.

    Yields
    ------
    dict of str to float, or InputError
        The fields of `WatchedStep`, or why there are none.
    """
    loops = [_watched(scenario) for scenario in scenarios]
    legal = [loop for loop in loops if isinstance(loop, Watched)]
    found = measure_batch(legal, workers=1)
    for loop in loops:
        if isinstance(loop, InputError):
            yield loop
            continue
        steps = next(found)
        if steps is None:
            yield InputError(NOT_FINITE)
            continue
        sizes = [abs(window.to_pa - window.from_pa) for window in loop.windows]
        yield asdict(steps[sizes.index(max(sizes))])


def _watched(scenario: Scenario | InputError) -> Watched | InputError:
    if isinstance(scenario, InputError):
        return scenario
    try:
        return watch_steps(scenario, make_rig(scenario))
    except InputError as refusal:
        return refusal


@dataclass(frozen=True)
class Campaign:
    """A scenario, the space around it, and the question put to each point.

    Only what an axis names is changed: the law keeps what it was told, so a
    supply or a sensor that varies is one that the law does not know of.
    ``evaluate`` is a function of a module, so that other processes find it,
    and depends on its scenario alone. Without one the largest step of each
    point is measured, many points side by side.
    """

    scenario: Scenario
    space: Space
    evaluate: Evaluate | None = None

    def __post_init__(self) -> None:
        """Refuse an axis that leads nowhere, or a function without a home."""
        known = numeric_paths(self.scenario)
        for path in self.space.axes:
            check_path(path, known)
        if self.evaluate is not None and (
            not inspect.isfunction(self.evaluate) or "<" in self.evaluate.__qualname__
        ):
            raise InputError(
                f"evaluate: {self.evaluate!r} has no name that another process could "
                "import; give a function at the top of a module"
            )

    @cached_property
    def _kinds(self) -> dict[str, type]:
        known = numeric_paths(self.scenario)
        return {path: known[path] for path in self.space.axes}

    def scenario_at(self, index: int) -> Scenario:
        """Build the exact scenario of one point, such as one that failed.

        Parameters
        ----------
        index : int
            0 ... ``space.count - 1``.

        Returns
        -------
        Scenario

        Raises
        ------
        InputError
            Its settings are illegal.
        """
        row = self._points(index, index + 1)[0].tolist()
        return _checked(self._scenario(index, row))

    def run_chunk(self, start: int, stop: int) -> Columns:
        """Evaluate points ``start`` to ``stop``, less the last.

        Returns
        -------
        dict of str to ndarray
            One row a point: ``index``, ``noise_seed``, ``failed`` (0 or 1),
            ``message``, the number at each path, each metric. A point that
            failed has NaN metrics and says why.
        """
        points = self._points(start, stop)
        if self.evaluate is None:
            answers = [_told(answer) for answer in self._side_by_side(start, points)]
        else:
            answers = [
                self._try_point(self.evaluate, index, row)
                for index, row in enumerate(points.tolist(), start)
            ]
        rows = [metrics for metrics, _ in answers]
        messages = [" ".join(said.split())[:LONGEST_MESSAGE] for _, said in answers]
        seeds = [noise_seed(self.space.seed, index) for index in range(start, stop)]
        names = dict.fromkeys(name for metrics in rows for name in metrics)
        return {
            "index": np.arange(start, stop),
            "noise_seed": np.array(seeds),
            "failed": np.array([bool(message) for message in messages], dtype=np.int8),
            "message": np.array(messages),
            **dict(zip(self.space.axes, points.T, strict=True)),
            **{
                name: np.array([metrics.get(name, math.nan) for metrics in rows])
                for name in names
            },
        }

    def first_refusal(self, indices: list[int]) -> InputError | None:
        """Say why the first of some points is illegal, if all of them are."""
        refused = None
        for index in indices:
            try:
                self.scenario_at(index)
            except InputError as error:
                refused = refused or error
            else:
                return None
        return refused

    def _points(self, start: int, stop: int) -> npt.NDArray[np.float64]:
        """Draw points; settings that are whole numbers get the nearest."""
        points = self.space.draw(start, stop)
        whole = [kind is int for kind in self._kinds.values()]
        points[:, whole] = np.rint(points[:, whole])
        return points

    def _side_by_side(
        self, start: int, points: npt.NDArray[np.float64]
    ) -> Iterator[dict[str, float] | InputError]:
        def scenarios() -> Iterator[Scenario | InputError]:
            for index, row in enumerate(points.tolist(), start):
                try:
                    yield self._scenario(index, row)
                except InputError as refusal:
                    yield refusal

        return measure_largest_steps(scenarios())

    def _try_point(self, evaluate: Evaluate, index: int, row: list[float]) -> Answer:
        # Whatever a point does, its neighbours must not suffer for it.
        try:
            metrics = evaluate(_checked(self._scenario(index, row)))
            return {name: float(metric) for name, metric in metrics.items()}, ""
        except InputError as error:
            return _told(error)
        except Exception as error:
            return {}, f"{type(error).__name__}: {error}"

    def _scenario(self, index: int, row: list[float]) -> Scenario:
        seed = noise_seed(self.space.seed, index)
        scenario: Scenario = replace_at(self.scenario, "plant.sensing.seed", seed)
        for path, number in zip(self.space.axes, row, strict=True):
            exact = int(number) if self._kinds[path] is int else number
            check_range(path, exact)
            scenario = replace_at(scenario, path, exact)
        if not {"law.tick_s", "duration_s"}.isdisjoint(self.space.axes):
            ticks = round(scenario.duration_s / scenario.law.tick_s)
            scenario = replace(scenario, ticks=ticks)
        return scenario


def _checked(scenario: Scenario) -> Scenario:
    """Refuse settings that no block or no plant can have."""
    quantise(scenario.law)
    Plant(scenario.plant, scenario.law.tick_s)
    return scenario


def _told(answer: dict[str, float] | InputError) -> Answer:
    if isinstance(answer, InputError):
        return {}, str(answer) or "refused without a reason"
    return answer, ""
