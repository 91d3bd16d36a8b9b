"""How fast pressures can be in volumes that are joined by restrictions."""

import math
from dataclasses import dataclass, field

import numpy as np

from host_sim.plant.gas import LAMINAR_FALL, choked_coefficient, flow_function
from host_sim.plant.pack import start_temperature_k
from host_sim.plant.settings import Air, Restriction, Volume


@dataclass(frozen=True)
class Bounds:
    """Air, and the highest and lowest absolute pressure that can occur."""

    air: Air
    top_pa: float
    bottom_pa: float


def flow_slope(restriction: Restriction | None, bounds: Bounds) -> float:
    """Most that a pressure can change a flow [kg/(s Pa)].

    The slope near equal pressures, or the ratio of the extreme pressures, which
    bounds how fast inflow replaces a volume's air.
    """
    if restriction is None:
        return 0.0
    share = flow_function(
        1.0 - LAMINAR_FALL, restriction.critical_ratio, restriction.index
    )
    steepest = max(share / LAMINAR_FALL, bounds.top_pa / bounds.bottom_pa)
    coefficient = choked_coefficient(restriction, bounds.air)
    return coefficient / math.sqrt(bounds.air.ambient_temperature_k) * steepest


def pressure_gain(volume: Volume, bounds: Bounds) -> float:
    """Most that a mass flow can change a pressure [Pa/kg].

    ``n R T / V`` with the hottest air. With an energy balance that is ``g`` times
    the start, filled from empty; flows grow less by its root.
    """
    air, hotter = bounds.air, 1.0
    exponent = {"isothermal": 1.0, "polytropic": volume.exponent}.get(
        volume.thermal, air.gamma
    )
    if volume.thermal == "polytropic":
        compression = max(bounds.top_pa / volume.start_pressure_pa, 1.0)
        hotter = compression ** (1.0 - 1.0 / volume.exponent)
    elif volume.thermal != "isothermal":
        hotter = math.sqrt(air.gamma)
    specific_j_kg = air.gas_constant_j_kg_k * start_temperature_k(volume, air)
    return exponent * specific_j_kg * hotter / volume.volume_m3


@dataclass
class Network:
    """Volumes by name, and the steepest slopes of the paths at each.

    Small pressure changes follow ``dp/dt = -diag(gains) slopes p``. The sizes of
    its eigenvalues grow with every slope, so that those of the steepest bound
    those of every state of a plant.
    """

    bounds: Bounds
    volumes: dict[str, Volume] = field(default_factory=dict)
    slopes: dict[tuple[str, str], float] = field(default_factory=dict)

    def join(self, one: str, other: str, slope: float) -> None:
        """Let air pass between two places, of which one may be no volume."""
        for pair in ((one, other), (other, one)):
            self.slopes[pair] = self.slopes.get(pair, 0.0) + slope

    def join_valve(self, place: str, fill: Restriction, exhaust: Restriction) -> None:
        """Let a valve fill a place from the supply or vent it, one at a time."""
        filling = flow_slope(fill, self.bounds)
        venting = flow_slope(exhaust, self.bounds)
        self.join("supply", place, filling)
        self.join(place, "atmosphere", max(venting - filling, 0.0))

    def modes(self) -> list[tuple[str, float]]:
        """List the decay rates of all pressures together.

        Returns
        -------
        list of (str, float)
            The volume that takes most part in a mode, and the mode's rate [1/s].
        """
        names = list(self.volumes)
        matrix = np.zeros((len(names), len(names)))
        for (place, beyond), slope in self.slopes.items():
            if place in names:
                here = names.index(place)
                matrix[here, here] += slope
                if beyond in names:
                    matrix[here, names.index(beyond)] -= slope
        root = np.sqrt([pressure_gain(v, self.bounds) for v in self.volumes.values()])
        # A similar, symmetric matrix has the same eigenvalues, all real.
        rates, shapes = np.linalg.eigh(root[:, None] * matrix * root)
        most = np.abs(shapes).argmax(axis=0)
        return [(names[k], float(rate)) for k, rate in zip(most, rates, strict=True)]
