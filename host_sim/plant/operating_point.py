"""A plant at rest: the state and the drive that hold a load pressure.

A play counts as closed. Where nothing flows, a booster stands at one edge of
its dead band, on the side that the caller chooses.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.optimize import least_squares

from host_sim.errors import InputError
from host_sim.plant import layout
from host_sim.plant.settings import PlantSettings
from host_sim.plant.small_model import FloatArray, SmallModel

Side = Literal["fill", "vent"]

GUESSES = (0.01, 0.1, 0.001, 0.3)
"""First guesses of an opening or a drive."""
REST_PER_S = 1e-9
"""Relative change of a state in a second that still counts as rest."""


@dataclass(frozen=True)
class OperatingPoint:
    """A plant at rest.

    ``state`` and ``inputs`` are laid out as in `host_sim.plant.layout`; copied
    into the body of a `Plant` they put it there. ``side`` is the one on which
    a shut valve or booster is taken to be.
    """

    settings: PlantSettings
    side: Side
    state: tuple[float, ...]
    inputs: tuple[float, ...]
    load_pa: float

    @property
    def drive(self) -> float:
        """Drive that holds this point [-]."""
        return self.inputs[layout.DRIVE]


def _rest(model: SmallModel, gap: Callable[[FloatArray], float] | None = None) -> bool:
    """Move a model to rest: where a gap closes, or at the drive that it has.

    The gap is a function of what `SmallModel.evaluate` shows behind the rates.
    """
    states, size, inputs = model.states(), model.sizes(), np.array(model.body.inputs)
    count, free = len(size), model.free()

    def residuals(unknowns: FloatArray) -> FloatArray:
        states[free] = unknowns[: len(free)] * size[free]
        inputs[layout.DRIVE] = unknowns[-1] if gap else inputs[layout.DRIVE]
        seen = model.evaluate(states, inputs)
        rates = seen[:count][free] / size[free]
        return np.append(rates, gap(seen[count:])) if gap else rates

    start = states[free] / size[free]
    slots = [list(model.slots.values())[i] for i in free]
    low = [-1.0 if slot == layout.POSITION else 1e-6 for slot in slots]
    high = [np.inf] * len(free)
    if gap:
        start = np.append(start, inputs[layout.DRIVE])
        low.append(0.0 if model.pilot_is_lag else -1.0)
        high.append(1.0)
    if np.abs(residuals(start)).max() < REST_PER_S:
        return True
    exact = {"xtol": 1e-15, "ftol": 1e-15, "gtol": 1e-15}
    found = least_squares(residuals, start, "3-point", (low, high), **exact)
    return bool(np.abs(residuals(found.x)).max() < REST_PER_S)


def _rest_at_load(model: SmallModel, load_pa: float, side: Side) -> bool:
    """Move a model to rest at a load pressure, from several first guesses.

    Without outflow the booster rests at an edge of its dead band; with it most
    guesses start on the slope beyond the kink.
    """
    if model.sealed:
        band = model.body.params[layout.DEAD_BAND] if model.is_chain else 0.0
        edge = band if side == "fill" else -band
        for drive in (0.0, *GUESSES):
            model.start(load_pa, edge, 0.0, drive)
            if _rest(model, lambda shown: shown[-1] - edge):
                return True
        return False
    for opening in (0.0, *GUESSES):
        model.start(load_pa, model.wish(opening), opening, opening)
        if _rest(model, lambda shown: shown[0] / load_pa - 1.0):
            return True
    return False


def _pressure_at(model: SmallModel, drive: float) -> float | None:
    """Load pressure that a drive holds, if a rest is found [Pa]."""
    low_pa = model.body.params[layout.ATMOSPHERE_PA]
    span_pa = model.body.inputs[layout.SOURCE_PA] - low_pa
    for share in (0.5, 0.9, 0.1, 0.99, 0.01):
        guess = GUESSES[0]
        model.start(low_pa + share * span_pa, model.wish(guess), guess, drive)
        model.body.inputs[layout.DRIVE] = drive
        if _rest(model):
            return model.body.view[layout.LOAD]
    return None


def _refusal(model: SmallModel, load_pa: float) -> InputError:
    source_pa = model.body.inputs[layout.SOURCE_PA]
    reason = "the solver found no rest there"
    if model.sealed:
        reason = "no drive holds the pilot at that pressure"
    else:
        full_pa, none_pa = _pressure_at(model, 1.0), _pressure_at(model, 0.0)
        if full_pa is not None and full_pa < load_pa:
            reason = f"full drive holds {full_pa:.6g} Pa; raise supply or fill path"
        elif none_pa is not None and none_pa > load_pa:
            reason = f"no drive at all holds {none_pa:.6g} Pa"
    return InputError(
        f"load_pa: no steady state at {load_pa:.6g} Pa with {source_pa:.6g} Pa supply: "
        + reason
    )


def _finish(model: SmallModel, settings: PlantSettings, side: Side) -> OperatingPoint:
    body = model.body
    body.refresh()
    body.state[layout.PLAY] = body.view[layout.PLAY]
    body.state[layout.SENSED_SUPPLY] = body.view[layout.SUPPLY]
    return OperatingPoint(
        settings, side, tuple(body.state), tuple(body.inputs), body.view[layout.LOAD]
    )


def operating_point(
    settings: PlantSettings,
    load_pa: float,
    *,
    source_pa: float | None = None,
    consumption_kg_s: float = 0.0,
    side: Side = "fill",
) -> OperatingPoint:
    """Find the steady state at a load pressure.

    ``dx/dt = 0`` for every physical state and ``p_load = load_pa``. Where the
    air does not fix a state (no outflow, no heat exchange), it keeps the value
    of the plant's start: a valve without bleed rests anywhere, at zero drive.

    Parameters
    ----------
    settings : PlantSettings
        Scripts, ripple, play and noise of the plant play no part.
    load_pa : float
        Absolute load pressure, atmosphere ... supply [Pa].
    source_pa : float, optional
        Source pressure; that of the settings unless given [Pa].
    consumption_kg_s : float
        Constant consumption from the load [kg/s].
    side : str
        Edge of the dead band on which a booster without flow stands.

    Returns
    -------
    OperatingPoint

    Raises
    ------
    InputError
        When there is none, with the reason.
    """
    plant = settings.arrangement
    source_pa = plant.supply.pressure_pa if source_pa is None else source_pa
    if not plant.air.atmosphere_pa <= load_pa <= source_pa:
        raise InputError(
            f"load_pa: {load_pa:.6g} Pa is not between atmosphere "
            f"({plant.air.atmosphere_pa:.6g} Pa) and supply ({source_pa:.6g} Pa)"
        )
    if not 0.0 <= consumption_kg_s < math.inf:
        raise InputError(
            f"consumption_kg_s: {consumption_kg_s:g} kg/s is not a flow of 0 or more"
        )
    model = SmallModel(settings, source_pa, consumption_kg_s)
    if not _rest_at_load(model, load_pa, side):
        raise _refusal(model, load_pa)
    return _finish(model, settings, side)
