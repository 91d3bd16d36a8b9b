"""One point of a campaign, and a chunk of them: pure, wherever it runs."""

import inspect
import math
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from host_sim.errors import InputError
from host_sim.law.quantise import quantise
from host_sim.loop.campaign_paths import (
    check_path,
    check_range,
    numeric_paths,
    replace_at,
)
from host_sim.loop.campaign_space import Space, noise_seed
from host_sim.loop.compiled import run_compiled
from host_sim.measure.answer import measure_run
from host_sim.plant.plant import Plant
from host_sim.scenario.load import Scenario

Evaluate = Callable[[Scenario], Mapping[str, float]]
Columns = dict[str, npt.NDArray[Any]]
LONGEST_MESSAGE = 500


def measure_largest_step(scenario: Scenario) -> dict[str, float]:
    """Run a scenario, compiled, and measure its largest step.

    Parameters
    ----------
    scenario : Scenario

    Returns
    -------
    dict of str to float
        The fields of `StepMetrics`, NaN for what the record cannot answer,
        and the effort of the whole run; units in the names.

    Raises
    ------
    InputError
        The plant gave a number that is not finite, or there is no step.
    """
    run = run_compiled(scenario)
    for name in ("load_pa", "air_used_kg"):
        bad = np.flatnonzero(~np.isfinite(run.columns[name]))
        if bad.size:
            raise InputError(
                f"the plant gave {name} = {run.columns[name][bad[0]]} at "
                f"{run.time_s[bad[0]]:g} s; run this point alone to see why"
            )
    answer = measure_run(scenario, run)
    if not answer.steps:
        raise InputError(
            "profile: no step of 1 % that lasts 10 ticks; give the command one"
        )
    largest = max(
        answer.steps, key=lambda step: abs(step.setpoint_to_pa - step.setpoint_from_pa)
    )
    metrics = asdict(largest)
    del metrics["notes"]
    return {
        **{name: math.nan if m is None else float(m) for name, m in metrics.items()},
        "travel_strokes": answer.output.travel_strokes,
        "reversals": float(answer.output.reversals),
        "air_used_kg": answer.air.mass_kg,
        "air_used_l_anr": answer.air.volume_l_anr,
    }


@dataclass(frozen=True)
class Campaign:
    """A scenario, the space around it, and the question put to each point.

    Only what an axis names is changed: the law keeps what it was told, so a
    supply or a sensor that varies is one that the law does not know of.
    ``evaluate`` is a function of a module, so that other processes find it,
    and depends on its scenario alone.
    """

    scenario: Scenario
    space: Space
    evaluate: Evaluate = measure_largest_step

    def __post_init__(self) -> None:
        """Refuse an axis that leads nowhere, or a function without a home."""
        known = numeric_paths(self.scenario)
        for path in self.space.axes:
            check_path(path, known)
        if not inspect.isfunction(self.evaluate) or "<" in self.evaluate.__qualname__:
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
        return self._scenario(index, self._points(index, index + 1)[0].tolist())

    def run_chunk(self, start: int, stop: int) -> Columns:
        """Evaluate points ``start`` to ``stop``, less the last.

        Returns
        -------
        dict of str to ndarray
            One row a point: ``index``, ``noise_seed``, ``failed`` (0 or 1),
            ``message``, the number at each path, each metric. A point that
            failed has NaN metrics and says why.
        """
        points, rows, messages = self._points(start, stop), [], []
        for index, row in enumerate(points.tolist(), start):
            metrics, message = self._try_point(index, row)
            rows.append(metrics)
            messages.append(" ".join(message.split())[:LONGEST_MESSAGE])
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

    def _try_point(self, index: int, row: list[float]) -> tuple[dict[str, float], str]:
        # Whatever a point does, its neighbours must not suffer for it.
        try:
            metrics = self.evaluate(self._scenario(index, row))
            return {name: float(metric) for name, metric in metrics.items()}, ""
        except InputError as error:
            return {}, str(error) or "refused without a reason"
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
        quantise(scenario.law)
        Plant(scenario.plant, scenario.law.tick_s)
        return scenario
