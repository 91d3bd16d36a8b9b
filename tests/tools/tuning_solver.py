"""A loop of integer law and plant on an adaptive solver, with its own converters.

Everything but the law is written a second time: the plant's equations
(`reference_plant`), the way from a pressure to counts, the metrics. No noise, no
drift, no delay of a channel.
"""

import math

import numpy as np
from reference_plant import ReferencePlant

COUNTS = 32767


def counts(level, channel):
    """Nearest of the converter's levels, in counts of 15 bits."""
    levels = 2 ** (channel.bits or 15) - 1
    share = min(max((level - channel.low) / (channel.high - channel.low), 0.0), 1.0)
    return math.floor(math.floor(share * levels + 0.5) / levels * COUNTS + 0.5)


class SolvedLoop:
    """Load pressures at the ticks of a scenario's loop under a law."""

    def __init__(self, scenario, law, currents_ma):
        self.scenario, self.law, self.currents_ma = scenario, law, currents_ma
        self.plant = ReferencePlant(scenario.plant)
        self.sensed_pa, self.supply_pa = self.plant.start[:2]
        self.load_pa = [scenario.plant.arrangement.load.start_pressure_pa]

    def drives(self):
        """Let the law decide on what the solver reached last."""
        sensing = self.scenario.plant.sensing
        late = [0.0] * self.scenario.compute_delay_ticks
        for current_ma in self.currents_ma:
            late.append(
                self.law.tick(
                    counts(current_ma, self.scenario.current_channel),
                    counts(self.sensed_pa, sensing.pressure),
                    counts(self.supply_pa, sensing.supply),
                )
            )
            yield late.pop(0)

    def run(self):
        solved = self.plant.run(self.drives(), self.scenario.law.tick_s)
        for load_pa, sensed_pa, supply_pa in solved:
            self.sensed_pa, self.supply_pa = sensed_pa, supply_pa
            self.load_pa.append(load_pa)
        return np.array(self.load_pa[:-1])


def settling_s(load_pa, to_pa, band_pa, tick_s):
    """Time of the last tick outside the band, straight on to the next one."""
    away_pa = np.abs(load_pa - to_pa)
    (outside,) = np.nonzero(away_pa > band_pa)
    last = outside[-1]
    share = (away_pa[last] - band_pa) / (away_pa[last] - away_pa[last + 1])
    return (last + share) * tick_s


def overshoot(load_pa, from_pa, to_pa):
    """Furthest beyond the level, as a share of the step."""
    return max(0.0, ((load_pa - from_pa) / (to_pa - from_pa)).max() - 1.0)
