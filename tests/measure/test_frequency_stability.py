"""The margin of the sampled loop tells where the simulated loop starts to ring.

All gains times the gain margin bring the loop to the edge: 0.5 % above, a small
disturbance grows, 0.5 % below it dies. Float law, ideal converters, nonlinear plant.
"""

from dataclasses import replace

import numpy as np
import pytest
from at_rest import plant_at
from bench_plant import (
    CURRENT,
    LOW_PA,
    SENSING,
    SPAN_PA,
    chain_plant,
    direct_plant,
    law_settings,
)

from host_sim.law.reference import FloatController
from host_sim.law.settings import Gains
from host_sim.loop.loop import Loop
from host_sim.measure.frequency import loop_margins
from host_sim.plant.channel import ChannelState
from host_sim.plant.layout import LOAD
from host_sim.plant.linear import linearise
from host_sim.plant.operating_point import operating_point
from host_sim.plant.settings import PlantSettings, Sensing

TICK_S = 0.01
LOAD_PA = 4e5


def law_of(gains, filter_s):
    law = law_settings(gains, tick_s=TICK_S, derivative_filter_s=0.02)
    return replace(law, measurement=replace(law.measurement, filter_s=filter_s))


def deviations(point, law, delay_ticks, ticks):
    """Load pressure less its rest, after a push of one part in a million."""
    plant = plant_at(point, TICK_S)
    plant.body.state[LOAD] *= 1.0 + 1e-6
    controller = FloatController(law)
    controller.output = point.drive
    current_ma = 4.0 + 16.0 * (LOAD_PA - LOW_PA) / SPAN_PA
    loop = Loop(plant, controller, ChannelState(CURRENT, TICK_S, 0), delay_ticks)
    # The drive of the tick before the first is that of the rest, not zero.
    loop._pending = [point.drive] * delay_ticks
    run = loop.run([current_ma] * ticks)
    return run.columns["load_pa"] - LOAD_PA


CASES = {
    "P on a valve": (
        *(direct_plant(load_l=0.5, bleed=0.5), 0.0, Gains(1.0)),
        *(0.0, 0.0, 0.0, 0),
    ),
    "PI, compute delay": (
        *(direct_plant(load_l=0.5, bleed=0.5), 0.0, Gains(1.0, 1.0)),
        *(0.0, 0.0, 0.0, 1),
    ),
    "PID, filter, lag, transport delay": (
        *(direct_plant(load_l=0.5, bleed=0.5), 0.0, Gains(1.0, 1.0, 0.02)),
        *(0.02, 0.03, 0.014, 1),
    ),
    "PID on a booster": (
        *(chain_plant(load_l=2.0), 1e-3, Gains(0.5, 2.0, 0.02)),
        *(0.02, 0.01, 0.007, 0),
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_gain_margin_is_where_the_simulated_loop_starts_to_ring(name):
    settings, consumption, gains, filter_s, lag_s, delay_s, late = CASES[name]
    channel = replace(SENSING.pressure, lag_s=lag_s, delay_s=delay_s)
    settings = PlantSettings(
        settings.arrangement, sensing=Sensing(channel, SENSING.supply)
    )
    point = operating_point(settings, LOAD_PA, consumption_kg_s=consumption)
    margins = loop_margins(linearise(point), channel, law_of(gains, filter_s), late)
    assert 1.0 < margins.gain_margin < 100.0
    ticks = 1_500
    growth = []
    for share in (0.995, 1.005):
        scale = share * margins.gain_margin
        scaled = Gains(*(scale * np.array(list(vars(gains).values()))))
        deviation = deviations(point, law_of(scaled, filter_s), late, ticks)
        early, last = deviation[300:600], deviation[-300:]
        growth.append(np.ptp(last) / np.ptp(early))
    assert growth[0] < 0.75
    assert growth[1] > 1.25
