"""The case's plant as somebody would write it for a general solver.

Equations from the settings, in plain floats, apart from the project's kernels;
what a solver does with them is the peer's affair. The law is the board's own
`tick`, the converters are the project's.
"""

import math
from array import array
from dataclasses import dataclass

from firmware_model.law.tick import tick
from host_sim.law.block import FULL
from host_sim.law.controller import STATE_SLOT, Controller
from host_sim.law.counts import whole
from host_sim.law.quantise import quantise
from host_sim.plant.channel import convert
from host_sim.plant.settings import Channel, DirectPlant, Restriction
from host_sim.scenario.load import Scenario

LAMINAR_RATIO = 0.999
DRIVE = STATE_SLOT["DRIVE"]


@dataclass(frozen=True)
class Bag:
    """An isothermal volume on a lagging valve, with a lagging sensor.

    The state is opening [-], sensed pressure [Pa], mass of air [kg].
    """

    plant: DirectPlant
    sensor_lag_s: float

    def start(self) -> tuple[float, float, float]:
        """State at rest."""
        load = self.plant.load
        start_kg = load.start_pressure_pa / self._pa_per_kg()
        return 0.0, load.start_pressure_pa, start_kg

    def _pa_per_kg(self) -> float:
        air = self.plant.air
        specific = air.gas_constant_j_kg_k * air.ambient_temperature_k
        return specific / self.plant.load.volume_m3

    def load_pa(self, mass_kg: float) -> float:
        """Pressure of the load [Pa]."""
        return mass_kg * self._pa_per_kg()

    def rates(
        self, opening: float, sensed_pa: float, mass_kg: float, drive: float
    ) -> tuple[float, float, float]:
        """Rate of the state under a held drive."""
        valve = self.plant.valve
        load_pa = self.load_pa(mass_kg)
        if opening > 0.0:
            supply_pa = self.plant.supply.pressure_pa
            flow_kg_s = opening * self._flow(valve.fill, supply_pa, load_pa)
        else:
            outside_pa = self.plant.air.atmosphere_pa
            flow_kg_s = opening * self._flow(valve.exhaust, load_pa, outside_pa)
        return (
            (drive - opening) / valve.lag_s,
            (load_pa - sensed_pa) / self.sensor_lag_s,
            flow_kg_s,
        )

    def _flow(self, path: Restriction, up_pa: float, down_pa: float) -> float:
        """Mass flow of ISO 6358, linear near equal pressures [kg/s]."""
        if up_pa < down_pa:
            return -self._flow(path, down_pa, up_pa)
        air, ratio, b = self.plant.air, down_pa / up_pa, path.critical_ratio
        curved = (max(min(ratio, LAMINAR_RATIO), b) - b) / (1.0 - b)
        psi = math.sqrt(1.0 - curved * curved)
        if ratio > LAMINAR_RATIO:
            psi *= (1.0 - ratio) / (1.0 - LAMINAR_RATIO)
        density = air.reference_density_kg_m3
        return path.conductance_m3_s_pa * density * up_pa * psi


@dataclass(frozen=True)
class Board:
    """The board's own law behind its three converters."""

    words: "array[int]"
    block: "array[int]"
    channels: tuple[Channel, Channel, Channel]

    def decide(
        self, words: "array[int]", current_ma: float, sensed_pa: float, supply_pa: float
    ) -> float:
        """Run one tick on state words; return the drive [-]."""
        arriving = (current_ma, sensed_pa, supply_pa)
        for slot, (channel, one) in enumerate(
            zip(self.channels, arriving, strict=True)
        ):
            counts = convert(one, channel.low, channel.high, channel.bits or 0)
            words[slot] = whole(counts)
        tick(words, self.block)
        return words[DRIVE] / FULL


def equations_of(scenario: Scenario) -> tuple[Bag, Board]:
    """Take the plant and the board from the case.

    Raises
    ------
    TypeError
        The scenario is of the other arrangement.
    """
    plant, sensing = scenario.plant.arrangement, scenario.plant.sensing
    if not isinstance(plant, DirectPlant):
        raise TypeError("only arrangement A has these equations")
    pilot = Controller(quantise(scenario.law))
    channels = (scenario.current_channel, sensing.pressure, sensing.supply)
    return (
        Bag(plant, sensing.pressure.lag_s),
        Board(pilot.state, pilot.block.words, channels),
    )
