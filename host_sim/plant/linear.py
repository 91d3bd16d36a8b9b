"""How a plant answers small movements about a steady state.

Kinks are taken thus, and the notes of the result name them: a play counts as
closed (its small movements pass); where nothing flows, valve and booster are
linearised on the side of the operating point, a booster at that edge of its dead
band; flow within 0.1 % of equal pressures has the slope of its linear end.
"""

import math
from dataclasses import dataclass

import numpy as np

from host_sim.plant import layout
from host_sim.plant.body import make_body
from host_sim.plant.gas import LAMINAR_RATIO
from host_sim.plant.operating_point import OperatingPoint
from host_sim.plant.small_model import FloatArray, SmallModel
from host_sim.plant.volume import FADE

INPUTS = ("drive", "source_pa", "consumption_kg_s")
OUTPUTS = ("load_pa", "sensed_pa")

STEPS = (4e-5, 4e-6, 4e-7)
"""Relative difference steps: far below the 0.1 % that the linear end is wide."""
ENOUGH = 1e-7
"""Relative error of a slope with which no shorter step is tried."""
SHUT = 1e-7
"""Opening or drive that counts as none."""
KINK = 1e-3
"""Relative change of slope across the operating point that counts as a kink."""
ROUNDING = 1e-7
"""Relative size below which a slope is taken for rounding."""


@dataclass(frozen=True)
class LinearPlant:
    """``dx/dt = A x + B u``, ``y = C x + D u`` for small changes.

    ``states`` names x in SI units, u is `INPUTS` and y is `OUTPUTS`: the load
    pressure, and the sensed one behind the sensor's lag, before its transport
    delay. ``error`` bounds the differences: largest error over largest entry,
    in states relative to their size. ``notes`` says what was done at kinks.
    """

    states: tuple[str, ...]
    a: FloatArray
    b: FloatArray
    c: FloatArray
    d: FloatArray
    error: float
    notes: tuple[str, ...]


class _Differences:
    """One-sided slopes of a model at its operating point.

    ``(8 D(h/4) - 6 D(h/2) + D(h)) / 3`` with ``D(h) = (f(x + h) - f(x)) / h``:
    exact for cubics; the mean of both sides for quartics.
    """

    def __init__(self, model: SmallModel) -> None:
        self.model = model
        inputs = np.array(model.body.inputs)
        self.centre = np.concatenate([model.states(), inputs])
        self.sizes = np.concatenate([model.sizes(), self._input_sizes()])
        self.base = self._at(self.centre)
        load_pa = self.base[len(model.slots)]
        self.rows = np.concatenate([model.sizes(), [load_pa, load_pa, 1.0, 1.0]])

    def _input_sizes(self) -> FloatArray:
        """Full drive, the source, and the choked flow of the fill path."""
        inputs, params = self.model.body.inputs, self.model.body.params
        source_pa = inputs[layout.SOURCE_PA]
        choked = params[layout.FILL] * source_pa / params[layout.AMBIENT_K] ** 0.5
        return np.array([1.0, source_pa, choked])

    def _at(self, point: FloatArray) -> FloatArray:
        count = len(self.model.slots)
        return self.model.evaluate(point[:count], point[count:])

    def one_sided(self, column: int, step: float) -> FloatArray:
        """Slope of rates and shown quantities over a signed relative step."""
        total = np.zeros(len(self.base))
        for part, weight in ((1.0, 1.0), (0.5, -6.0), (0.25, 8.0)):
            moved = self.centre.copy()
            moved[column] += part * step * self.sizes[column]
            distance = moved[column] - self.centre[column]
            total += weight / 3.0 * (self._at(moved) - self.base) / distance
        return total

    def slope(self, column: int, direction: float, step: float) -> FloatArray:
        """Slope towards a direction; the mean of both for direction 0."""
        if direction:
            return self.one_sided(column, direction * step)
        up, down = self.one_sided(column, step), self.one_sided(column, -step)
        return (up + down) / 2.0

    def best(self, column: int, direction: float) -> tuple[FloatArray, ...]:
        """Slope, its error and its jump across the point, in relative units.

        The step shrinks while that lessens the error: a kink may be near.
        """
        scale = self.sizes[column] / self.rows
        found: list[tuple[FloatArray, ...]] = []
        for step in STEPS:
            coarse = self.slope(column, direction, step)
            fine = self.slope(column, direction, step / 2.0)
            jump = self.one_sided(column, step) - self.one_sided(column, -step)
            found.append((fine * scale, np.abs(fine - coarse) * scale, jump * scale))
            if found[-1][1].max() <= ENOUGH * np.abs(found[-1][0]).max():
                break
        return min(found, key=lambda each: float(each[1].max()))

    def opens(self, column: int) -> float:
        """Direction that opens what is shut; 0 where nothing is, or is moved."""
        count = len(self.model.slots)
        if column == count and abs(self.centre[column]) < SHUT:
            return 1.0
        if abs(self.base[count + 2]) > SHUT:
            return 0.0
        both = self.slope(column, 0.0, STEPS[0]) * self.sizes[column]
        opening = both[-2] + both[-1]
        return math.copysign(1.0, opening) if abs(opening) > ROUNDING else 0.0


def _near_equal(model: SmallModel) -> list[str]:
    """Name the paths whose flow has the slope of its linear end."""
    view, params = model.body.view, model.body.params
    target = layout.OUTLET if model.is_chain else layout.LOAD
    paths = {
        "supply line": (layout.LINE, layout.SOURCE, layout.SUPPLY),
        "fill path": (layout.FILL, layout.SUPPLY, target),
        "exhaust path": (layout.EXHAUST, target, layout.ATMOSPHERE),
        "bleed": (layout.BLEED, layout.LOAD, layout.ATMOSPHERE),
    }
    if model.is_chain:
        paths["tube"] = (layout.TUBE, layout.OUTLET, layout.LOAD)
    notes = []
    for name, (path, up, down) in paths.items():
        ratio = min(view[up], view[down]) / max(view[up], view[down])
        if params[path] > 0.0 and ratio > LAMINAR_RATIO:
            notes.append(f"{name}: nearly equal pressures, slope of the linear end")
    fades = view[layout.LOAD] < (1.0 + FADE) * params[layout.ATMOSPHERE_PA]
    if fades and model.body.inputs[layout.CONSUMPTION]:
        notes.append("consumption: load so near atmosphere that it fades")
    return notes


def _model_at(point: OperatingPoint) -> SmallModel:
    _, source_pa, consumption_kg_s = point.inputs
    model = SmallModel(point.settings, source_pa, consumption_kg_s)
    model.body.state[:] = point.state
    model.body.inputs[:] = point.inputs
    model.body.refresh()
    return model


def _notes(model: SmallModel, point: OperatingPoint) -> list[str]:
    start = make_body(point.settings, 1, 1.0, *point.inputs[1:])
    notes = _near_equal(model)
    if start.params[layout.HALF_PLAY] > 0.0:
        notes.append("play: counts as closed")
    return notes


def _jumping(names: list[str], slopes: FloatArray, jumps: FloatArray) -> list[str]:
    size, jump = (np.abs(part).max(axis=0) for part in (slopes, jumps))
    jumping = (jump > KINK * size) & (jump > ROUNDING * size.max())
    return [
        f"{name}: the slope jumps, mean of both sides taken"
        for name in np.array(names)[jumping]
    ]


def linearise(point: OperatingPoint) -> LinearPlant:
    """Linearise a plant about an operating point.

    ``A = df/dx``, ``B = df/du``, ``C = dy/dx``, ``D = dy/du`` by differences
    extrapolated to zero step; exact but for the error that is returned.

    Parameters
    ----------
    point : OperatingPoint
        From `operating_point`; its ``side`` decides where nothing flows.

    Returns
    -------
    LinearPlant
        Physical states alone: no time, no counters of air, no supply sensor.

    Notes
    -----
    Source: Richardson's extrapolation, from memory; any book on numerical
    analysis.
    """
    model = _model_at(point)
    differences = _Differences(model)
    notes = _notes(model, point)
    side = 1.0 if point.side == "fill" else -1.0
    names, count = [*model.slots, *INPUTS], len(model.slots)
    columns = []
    for column, name in enumerate(names):
        direction = side * differences.opens(column)
        columns.append(differences.best(column, direction))
        if direction:
            notes.append(f"{name}: at a shut opening, slope of the {point.side} side")
            columns[-1][2][:] = 0.0
    relative, errors, jumps = (
        np.array(part)[:, :-2].T for part in zip(*columns, strict=True)
    )
    notes += _jumping(names, relative, jumps)
    jacobian = relative * differences.rows[:-2, None] / differences.sizes
    return LinearPlant(
        states=tuple(model.slots),
        a=jacobian[:count, :count],
        b=jacobian[:count, count:],
        c=jacobian[count:, :count],
        d=jacobian[count:, count:],
        error=float(errors.max() / np.abs(relative).max()),
        notes=tuple(notes),
    )
