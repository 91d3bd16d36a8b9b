"""Flow through a tube of known size, and the restriction that stands for it.

A smooth round tube joins two volumes. Its air has the ambient temperature all
along, and what one volume sends the other receives after the time of sound.
"""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy.optimize import brentq, least_squares

from host_sim.plant.gas import flow_function
from host_sim.plant.settings import Air, Restriction, Tube

FloatArray = npt.NDArray[np.float64]

ENDS_LOSS = 1.5
"""Velocity heads lost at a sharp inlet (0.5) and at the outlet (1).

Text-book values, from memory. Without them a short tube would pass more than an
ideal nozzle of its bore. Fittings narrower than the bore are not counted.
"""
FITTED_RATIOS = np.linspace(0.02, 0.98, 49)
"""Pressure ratios at which the restriction is fitted to the tube."""


@dataclass(frozen=True)
class TubeFit:
    """The restriction that stands for a tube, and how well it does.

    ``error`` is the largest distance of its flow from the tube's between the
    pressure ratios 0.02 and 0.98, as a share of the choked flow.
    """

    restriction: Restriction
    upstream_pa: float
    error: float


def viscosity_pa_s(temperature_k: float) -> float:
    """Dynamic viscosity of air by Sutherland's law.

    ``mu = 1.458e-6 T**1.5 / (T + 110.4)``

    Parameters
    ----------
    temperature_k : float
        Temperature [K].

    Returns
    -------
    float
        Viscosity [Pa s].

    Notes
    -----
    Source: US Standard Atmosphere 1976, from memory; at most 2 % below
    CoolProp's dry air from -20 to 60 degC up to 14 bar.

    Examples
    --------
    >>> viscosity_pa_s(293.15) * 1e6
    18.134
    """
    return 1.458e-6 * temperature_k * math.sqrt(temperature_k) / (temperature_k + 110.4)


def friction_factor(reynolds: float) -> float:
    """Darcy friction factor of a smooth tube, laminar to turbulent.

    ``f = 8 ((8/Re)**12 + (A + B)**-1.5)**(1/12)`` with
    ``A = (2.457 ln((Re/7)**0.9))**16`` and ``B = (37530/Re)**16``

    Parameters
    ----------
    reynolds : float
        Reynolds number, above 0 [-].

    Returns
    -------
    float
        Friction factor [-].

    Notes
    -----
    Source: Churchill, "Friction-factor equation spans all fluid-flow regimes",
    Chem. Eng. (1977), as the library `fluids` quotes it.

    Examples
    --------
    >>> friction_factor(1000.0), friction_factor(1e5)
    (0.064, 0.0178748)
    """
    laminar = (8.0 / reynolds) ** 12
    smooth = (2.457 * 0.9 * math.log(reynolds / 7.0)) ** 16
    # Below 1 it counts for nothing, and its power would overflow.
    transition = (37_530.0 / max(reynolds, 1.0)) ** 16
    return 8.0 * float((laminar + (smooth + transition) ** -1.5) ** (1.0 / 12.0))


def laminar_flow(tube: Tube, air: Air, up_pa: float, down_pa: float) -> float:
    """Mass flow of slow air through a tube, Hagen-Poiseuille.

    ``mdot = pi D**4 (p1**2 - p2**2) / (256 mu L R T)``

    Parameters
    ----------
    tube : Tube
    air : Air
        Gas constant and ambient temperature.
    up_pa, down_pa : float
        Absolute pressures at the ends, the first not below the second [Pa].

    Returns
    -------
    float
        Mass flow [kg/s]; no tube passes more.

    Notes
    -----
    Source: Hagen-Poiseuille for an ideal gas at one temperature, from memory.

    Examples
    --------
    >>> laminar_flow(Tube(10.0, 0.004), Air(), 1.02e5, 1e5) * 1e5
    8.3175
    """
    temperature_k = air.ambient_temperature_k
    resistance = 256.0 * viscosity_pa_s(temperature_k) * tube.length_m
    resistance *= air.gas_constant_j_kg_k * temperature_k
    width = math.pi * tube.inner_diameter_m**4
    return width * (up_pa**2 - down_pa**2) / resistance


def isothermal_flow(
    loss: float, area_m2: float, up_pa: float, down_pa: float, air: Air
) -> float:
    """Mass flow through a duct of known loss, choked where it must be.

    ``mdot = A sqrt((p1**2 - p2**2) / (R T (K + 2 ln(p1/p2))))``; below the outlet
    pressure at which this is largest, ``(p1/p2)**2 - 1 = K + 2 ln(p1/p2)``, the
    flow stays.

    Parameters
    ----------
    loss : float
        ``K``, velocity heads: ``f L / D`` and what the ends lose, above 0 [-].
    area_m2 : float
        Cross section ``A`` [m2].
    up_pa, down_pa : float
        Absolute pressures, the first above the second [Pa].
    air : Air
        Gas constant and ambient temperature.

    Returns
    -------
    float
        Mass flow [kg/s].

    Notes
    -----
    Source: momentum balance of an ideal gas at one temperature; any book on
    gas dynamics, from memory.

    Examples
    --------
    >>> isothermal_flow(7.5, 1.2566e-5, 2.4e5, 2e5, Air()) * 1e3
    2.0492
    """
    # With y = (p1/p2)**2 the flow is largest where y - 1 = K + ln y.
    choked: float = brentq(
        lambda y: y - 1.0 - loss - math.log(y), 1.0, 2.0 * loss + 4.0, rtol=1e-14
    )
    square = min((up_pa / down_pa) ** 2, choked)
    specific_j_kg = air.gas_constant_j_kg_k * air.ambient_temperature_k
    share = (1.0 - 1.0 / square) / (loss + math.log(square))
    return area_m2 * up_pa * math.sqrt(share / specific_j_kg)


def tube_flow(tube: Tube, air: Air, up_pa: float, down_pa: float) -> float:
    """Mass flow through a tube between two volumes.

    `isothermal_flow` with ``K = f(Re) L / D + 1.5``, ``Re = 4 mdot / (pi D mu)``.

    Parameters
    ----------
    tube : Tube
    air : Air
        Gas constant and ambient temperature.
    up_pa, down_pa : float
        Absolute pressures, the first not below the second [Pa].

    Returns
    -------
    float
        Mass flow [kg/s].

    Notes
    -----
    Source: `isothermal_flow` and `friction_factor`, solved together.

    Examples
    --------
    >>> tube_flow(Tube(10.0, 0.004), Air(), 2.4e5, 2e5) * 1e3
    0.6575
    """
    if up_pa <= down_pa:
        return 0.0
    diameter_m = tube.inner_diameter_m
    area_m2 = math.pi / 4.0 * diameter_m**2
    viscosity = viscosity_pa_s(air.ambient_temperature_k)

    def excess(flow_kg_s: float) -> float:
        reynolds = 4.0 * flow_kg_s / (math.pi * diameter_m * viscosity)
        loss = friction_factor(reynolds) * tube.length_m / diameter_m + ENDS_LOSS
        return isothermal_flow(loss, area_m2, up_pa, down_pa, air) - flow_kg_s

    most = min(
        laminar_flow(tube, air, up_pa, down_pa),
        isothermal_flow(ENDS_LOSS, area_m2, up_pa, down_pa, air),
    )
    return float(brentq(excess, 1e-4 * most, 2.0 * most, xtol=1e-30, rtol=1e-12))


@lru_cache(maxsize=64)
def equivalent_restriction(tube: Tube, air: Air, up_pa: float) -> TubeFit:
    """Find the ISO 6358 restriction that stands for a tube.

    Least squares of ``C p1 rho0 sqrt(T0/T) psi(r, b)`` against `tube_flow` over
    pressure ratios at one upstream pressure, with the subsonic index 0.5.

    Parameters
    ----------
    tube : Tube
    air : Air
        The gas, its reference state and the ambient temperature.
    up_pa : float
        Absolute upstream pressure [Pa]; friction makes C depend on it a little.

    Returns
    -------
    TubeFit

    Notes
    -----
    Source: common practice.

    Examples
    --------
    >>> fit = equivalent_restriction(Tube(3.0, 0.008), Air(), 7e5)
    >>> fit.restriction.conductance_m3_s_pa * 1e8, fit.restriction.critical_ratio
    (4.613, 0.280)
    """
    flows = np.array(
        [tube_flow(tube, air, up_pa, ratio * up_pa) for ratio in FITTED_RATIOS]
    )
    shares = flows / flows[0]

    def residuals(unknowns: FloatArray) -> FloatArray:
        scale, critical_ratio = unknowns.tolist()
        fitted = [flow_function(r, critical_ratio, 0.5) for r in FITTED_RATIOS]
        distances: FloatArray = scale * np.array(fitted) - shares
        return distances

    found = least_squares(residuals, (1.0, 0.3), bounds=((0.0, 0.0), (2.0, 0.9)))
    scale, critical_ratio = found.x.tolist()
    warmth = math.sqrt(air.ambient_temperature_k / air.reference_temperature_k)
    conductance = scale * flows[0] / up_pa / air.reference_density_kg_m3 * warmth
    return TubeFit(
        restriction=Restriction(float(conductance), critical_ratio),
        upstream_pa=up_pa,
        error=float(np.abs(found.fun).max()),
    )


def acoustic_delay_s(tube: Tube, air: Air) -> float:
    """Time that sound takes from one end of a tube to the other.

    ``L / a`` with ``a = sqrt(gamma R T)``

    Parameters
    ----------
    tube : Tube
    air : Air
        Gas constant, ratio of specific heats, ambient temperature.

    Returns
    -------
    float
        Delay [s].

    Notes
    -----
    Source: speed of sound of an ideal gas; any book on gas dynamics, from memory.

    Examples
    --------
    >>> acoustic_delay_s(Tube(10.0, 0.004), Air()) * 1e3
    29.135
    """
    square = air.gamma * air.gas_constant_j_kg_k * air.ambient_temperature_k
    return tube.length_m / math.sqrt(square)
