"""The arrays of one plant, in the order in which the kernels take them."""

from dataclasses import dataclass
from typing import Any

from host_sim.plant import layout
from host_sim.plant.arrangement import look
from host_sim.plant.channel import delay_line
from host_sim.plant.exponential import lag_rates, step_coefficients
from host_sim.plant.pack import pack
from host_sim.plant.settings import PlantSettings


@dataclass
class Body:
    """Arrays and substeps of a plant; see `integrate.advance`."""

    state: list[float]
    inputs: list[float]
    params: list[float]
    view: list[float]
    rates: list[float]
    total: list[float]
    trial: list[float]
    ahead: list[float]
    coefficients: list[float]
    line: list[float]
    supply_line: list[float]
    heads: list[int]
    substeps: int

    def arguments(self) -> tuple[Any, ...]:
        """Return all fields, as the kernels take them."""
        return tuple(vars(self).values())

    def refresh(self) -> None:
        """Let the view show the present state and inputs."""
        look(self.state, self.inputs, self.params, self.view)


def make_body(
    settings: PlantSettings,
    substeps: int,
    step_s: float,
    source_pa: float,
    consumption_kg_s: float,
) -> Body:
    """Make a plant at rest whose sensors have shown its start for ever.

    Parameters
    ----------
    settings : PlantSettings
    substeps : int
        Runge-Kutta steps in a tick.
    step_s : float
        Length of each [s].
    source_pa, consumption_kg_s : float
        Scripted inputs of the first tick [Pa], [kg/s].

    Returns
    -------
    Body
    """
    params, state = pack(settings)
    view, rates, total, trial, ahead = ([0.0] * len(state) for _ in range(5))
    body = Body(
        state=state,
        inputs=[0.0, source_pa, consumption_kg_s],
        params=params,
        view=view,
        rates=rates,
        total=total,
        trial=trial,
        ahead=ahead,
        coefficients=step_coefficients(lag_rates(params, len(state)), step_s),
        line=[],
        supply_line=[],
        heads=[0, 0],
        substeps=substeps,
    )
    body.refresh()
    at_outlet = params[layout.SENSED_AT_OUTLET] > 0.0
    state[layout.SENSED] = view[layout.OUTLET if at_outlet else layout.LOAD]
    state[layout.SENSED_SUPPLY] = view[layout.SUPPLY]
    sensing = settings.sensing
    body.line = delay_line(state[layout.SENSED], sensing.pressure.delay_s / step_s)
    body.supply_line = delay_line(
        state[layout.SENSED_SUPPLY], sensing.supply.delay_s / step_s
    )
    return body
