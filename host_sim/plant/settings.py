"""What a plant is made of: every physical parameter, in SI units.

All pressures are absolute. Nothing here computes; the arrangements read it.
"""

from dataclasses import dataclass, field
from typing import Literal

Thermal = Literal["isothermal", "polytropic", "adiabatic", "wall"]


@dataclass(frozen=True)
class Air:
    """The gas, its reference state for volume flows, and the surroundings.

    ``reference_density_kg_m3 * gas_constant * reference_temperature_k`` is not
    exactly 100 kPa (0.28 % below): both are the usual conventions, and time
    constants move by that much if the other is chosen.

    Source: ISO 8778 reference atmosphere and ISO 6358-1 density, second-hand.
    """

    gas_constant_j_kg_k: float = 287.05
    gamma: float = 1.4
    reference_density_kg_m3: float = 1.185
    reference_temperature_k: float = 293.15
    atmosphere_pa: float = 101_325.0
    ambient_temperature_k: float = 293.15


@dataclass(frozen=True)
class Restriction:
    """An ISO 6358-1 flow path: conductance, critical ratio, subsonic index."""

    conductance_m3_s_pa: float
    critical_ratio: float = 0.3
    index: float = 0.5


@dataclass(frozen=True)
class Tube:
    """A smooth round tube by its size; `host_sim.plant.tube` finds its flow."""

    length_m: float
    inner_diameter_m: float


@dataclass(frozen=True)
class Volume:
    """A pressure vessel and how its air exchanges heat.

    ``isothermal`` keeps ``wall_temperature_k``; ``polytropic`` follows
    ``T = T_start (m / m_start)**(exponent - 1)``; ``adiabatic`` and ``wall``
    balance energy, the latter with ``wall_conductance_w_k`` to the wall. All
    start at ``wall_temperature_k`` (the ambient temperature when ``None``).
    """

    volume_m3: float
    start_pressure_pa: float
    thermal: Thermal = "isothermal"
    exponent: float = 1.2
    wall_conductance_w_k: float = 0.0
    wall_temperature_k: float | None = None


@dataclass(frozen=True)
class Supply:
    """The compressed-air source and the line that brings it.

    ``changes`` is a script of (time s, pressure Pa): the source steps to that
    pressure at the first tick not earlier than that time. ``ripple_pa`` is the
    amplitude of a sine on top. Without ``line`` and ``volume`` the valve sees
    the source itself; with them (both or none) the supply droops under flow.
    """

    pressure_pa: float
    changes: tuple[tuple[float, float], ...] = ()
    ripple_pa: float = 0.0
    ripple_hz: float = 0.0
    line: Restriction | None = None
    volume: Volume | None = None


@dataclass(frozen=True)
class Consumption:
    """Air drawn from the load, as a script of (time s, mass flow kg/s).

    The flow is the scripted one while the load is more than 1 % above
    atmosphere and fades linearly to zero below that.
    """

    changes: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True)
class DirectValve:
    """Arrangement A's valve: signed opening x in -1 ... 1.

    The held drive passes a first-order lag, then a play (backlash) of full
    width ``hysteresis`` in units of opening; x > 0 fills through ``x * fill``,
    x < 0 vents through ``|x| * exhaust``.
    """

    fill: Restriction
    exhaust: Restriction
    lag_s: float = 0.0
    hysteresis: float = 0.0


@dataclass(frozen=True)
class DirectPlant:
    """Arrangement A: one valve fills or vents the load volume."""

    valve: DirectValve
    load: Volume
    supply: Supply
    bleed: Restriction | None = None
    consumption: Consumption = Consumption()
    air: Air = Air()


@dataclass(frozen=True)
class PilotVolume:
    """A small pilot chamber, filled and vented by the signed drive.

    Drive u > 0 fills from the supply volume through ``u * fill``, u < 0 vents
    through ``|u| * exhaust``; ``bleed`` always leads to atmosphere.
    """

    chamber: Volume
    fill: Restriction
    exhaust: Restriction
    bleed: Restriction | None = None


@dataclass(frozen=True)
class PilotLag:
    """A pilot pressure that follows the drive with a first-order lag.

    Drive 0 ... 1 (below 0 counts as 0) asks for ``low_pa`` ... ``high_pa``,
    limited to atmosphere below and the supply pressure above. It draws no air.
    """

    low_pa: float
    high_pa: float
    lag_s: float
    start_pressure_pa: float


@dataclass(frozen=True)
class Booster:
    """Arrangement B's volume booster: opening by pressure difference.

    ``z = (p_pilot - p_outlet) / full_opening_pa`` passes a play (friction) of
    full width ``hysteresis`` in units of z, then the dead band ``d``:
    ``opening = sign(z) clip((|z| - d) / (1 - d), 0, 1)``, then a first-order
    lag. Opening > 0 feeds the outlet through ``fill``, < 0 vents it to
    atmosphere through ``exhaust``.
    """

    full_opening_pa: float
    fill: Restriction
    exhaust: Restriction
    dead_band: float = 0.0
    lag_s: float = 0.0
    hysteresis: float = 0.0


@dataclass(frozen=True)
class ChainPlant:
    """Arrangement B: source, line, booster, outlet, tube, load."""

    supply: Supply
    pilot: PilotVolume | PilotLag
    booster: Booster
    outlet: Volume
    tube: Restriction
    load: Volume
    load_bleed: Restriction | None = None
    consumption: Consumption = Consumption()
    air: Air = Air()


@dataclass(frozen=True)
class Channel:
    """A measured quantity on its way to converter counts.

    ``low`` ... ``high`` (mA for the command, Pa absolute for pressures) map to
    0 ... 32767 counts. Order: transport delay, first-order lag, drift, noise
    (normal, standard deviation), converter of ``bits`` that rounds to the
    nearest of ``2**bits`` levels, one at each end of the range (``None``: ideal,
    the counts stay real numbers). Values beyond the range saturate. Every channel
    starts settled on its first value.
    """

    low: float
    high: float
    bits: int | None = 12
    noise: float = 0.0
    lag_s: float = 0.0
    delay_s: float = 0.0
    drift_per_s: float = 0.0


@dataclass(frozen=True)
class Sensing:
    """Which pressures are measured, and how."""

    pressure: Channel
    supply: Channel
    location: Literal["outlet", "load"] = "load"
    seed: int = 0


@dataclass(frozen=True)
class PlantSettings:
    """A whole plant: arrangement and its sensors."""

    arrangement: DirectPlant | ChainPlant
    sensing: Sensing = field(kw_only=True)
