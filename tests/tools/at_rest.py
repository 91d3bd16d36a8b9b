"""A plant that stands at an operating point."""

from host_sim.plant.channel import delay_line
from host_sim.plant.layout import SENSED
from host_sim.plant.plant import Plant


def plant_at(point, tick_s):
    """Build the plant of an operating point and put it there."""
    plant = Plant(point.settings, tick_s)
    body = plant.body
    body.state[:] = point.state
    body.inputs[:] = point.inputs
    body.refresh()
    body.line[:] = delay_line(body.view[SENSED], len(body.line) - 2)
    return plant
