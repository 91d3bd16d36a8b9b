"""Which arrangement a state belongs to: told by its length."""

from host_sim.plant.chain import chain_rates, look_chain
from host_sim.plant.direct import direct_rates, look_direct
from host_sim.plant.layout import DIRECT_STATES


def look(
    state: list[float], inputs: list[float], params: list[float], view: list[float]
) -> None:
    """Write all that follows at once from the state into the view."""
    if len(state) == DIRECT_STATES:
        look_direct(state, inputs, params, view)
    else:
        look_chain(state, inputs, params, view)


def rates_of(
    inputs: list[float], params: list[float], view: list[float], rates: list[float]
) -> None:
    """Write the rate of every state that the view shows into the rates.

    A first-order lag has ``target / lag`` alone; its decay ``-x / lag`` is in the
    coefficients of the step, see `host_sim.plant.exponential`.
    """
    if len(rates) == DIRECT_STATES:
        direct_rates(inputs, params, view, rates)
    else:
        chain_rates(inputs, params, view, rates)
