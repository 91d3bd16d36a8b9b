"""Flow of air through restrictions and nozzles.

The functions on plain numbers are kernels: they run once or more for every
restriction in every substep. The functions on `Restriction` and `Air` are for
people and for sizing.
"""

import math

from host_sim.plant.settings import Air, Restriction

LAMINAR_FALL = 1e-3
"""Relative pressure fall below which the flow is proportional to it."""
LAMINAR_RATIO = 1.0 - LAMINAR_FALL
"""Above this pressure ratio the flow falls linearly to zero.

The ellipse of ISO 6358-1 has a vertical tangent at ratio 1, where no explicit
integrator is stable. Flow near equal pressures is laminar, hence linear, anyway.
"""


def flow_function(ratio: float, critical_ratio: float, index: float) -> float:
    """Share of the choked flow that passes at a pressure ratio.

    ``psi = 1`` for ``r <= b``, else ``(1 - ((r - b)/(1 - b))**2)**m``, and linear
    from ``psi(0.999)`` to zero for ``r > 0.999``.

    Parameters
    ----------
    ratio : float
        Downstream over upstream absolute pressure, 0 ... 1 [-].
    critical_ratio : float
        Critical ratio ``b``, 0 ... 0.99 [-].
    index : float
        Subsonic index ``m`` [-].

    Returns
    -------
    float
        Flow share, 0 ... 1 [-].

    Notes
    -----
    Source: ISO 6358-1:2013, second-hand; the linear end is common practice.

    Examples
    --------
    >>> flow_function(0.5, 0.3, 0.5)
    0.958315
    """
    return flow_factor(1.0 - ratio, steepness_of(critical_ratio), index, 1.0)


def steepness_of(critical_ratio: float) -> float:
    """Choked over subsonic range, ``s = 1 / (1 - b)`` [-].

    The kernels take it in place of ``b``: the flow at a relative pressure fall
    ``f`` then is ``(1 - (1 - s f)**2)**m``, without a division.

    Examples
    --------
    >>> steepness_of(0.2)
    1.25
    """
    return 1.0 / (1.0 - critical_ratio)


def flow_factor(
    fall: float, steepness: float, index: float, temperature_k: float
) -> float:
    """Flow share over the root of the temperature, ``psi / sqrt(T)``.

    ``psi = (1 - max(1 - s f, 0)**2)**m`` with the fall ``f`` held at 0.001 below
    that, times ``min(f / 0.001, 1)``.

    Parameters
    ----------
    fall : float
        Pressure difference over the upstream absolute pressure, 0 ... 1 [-].
    steepness : float
        See `steepness_of` [-].
    index : float
        Subsonic index ``m`` [-].
    temperature_k : float
        Upstream temperature [K].

    Returns
    -------
    float
        Factor [1/sqrt(K)].

    Notes
    -----
    Source: ISO 6358-1:2013, second-hand; the linear end is common practice.

    Examples
    --------
    >>> flow_factor(0.5, steepness_of(0.3), 0.5, 4.0)
    0.4791575
    """
    position = max(1.0 - steepness * max(fall, LAMINAR_FALL), 0.0)
    rest = 1.0 - position * position
    # With the usual index one root and one division serve both.
    factor = (
        math.sqrt(rest / temperature_k)
        if index == 0.5
        else math.pow(rest, index) / math.sqrt(temperature_k)
    )
    return factor * min(fall * (1.0 / LAMINAR_FALL), 1.0)


def mass_flow(
    coefficient: float,
    steepness: float,
    index: float,
    up_pa: float,
    up_k: float,
    down_pa: float,
    down_k: float,
) -> float:
    """Mass flow from the first to the second side, signed.

    ``mdot = k p1 / sqrt(T1) psi(p2 / p1)`` with side 1 the one of higher
    pressure; exchanging the sides changes the sign and nothing else.

    Parameters
    ----------
    coefficient : float
        ``k = C rho0 sqrt(T0)``, see `choked_coefficient` [kg sqrt(K)/(s Pa)].
    steepness, index : float
        See `flow_factor` [-].
    up_pa, up_k : float
        Absolute pressure [Pa] and temperature [K] of the first side.
    down_pa, down_k : float
        The same of the second side.

    Returns
    -------
    float
        Mass flow [kg/s]; negative when it runs backwards.

    Notes
    -----
    Source: ISO 6358-1:2013, second-hand.

    Examples
    --------
    >>> k = choked_coefficient(Restriction(2e-8), Air())
    >>> s = steepness_of(0.3)
    >>> mass_flow(k, s, 0.5, 7.013e5, 293.15, 1.013e5, 293.15)
    0.01662081
    >>> mass_flow(k, s, 0.5, 1.013e5, 293.15, 7.013e5, 293.15)
    -0.01662081
    """
    high_pa = max(up_pa, down_pa)
    high_k = up_k if up_pa >= down_pa else down_k
    fall = abs(up_pa - down_pa) / high_pa
    flow_kg_s = coefficient * high_pa * flow_factor(fall, steepness, index, high_k)
    return flow_kg_s if up_pa >= down_pa else -flow_kg_s


def choked_coefficient(restriction: Restriction, air: Air) -> float:
    """Choked mass flow for unit pressure and unit temperature.

    ``k = C rho0 sqrt(T0)``

    Returns
    -------
    float
        Coefficient [kg sqrt(K)/(s Pa)].

    Examples
    --------
    >>> choked_coefficient(Restriction(1e-8), Air()) * 7e5 / 293.15**0.5
    0.008295
    """
    return (
        restriction.conductance_m3_s_pa
        * air.reference_density_kg_m3
        * math.sqrt(air.reference_temperature_k)
    )


def restriction_flow(
    restriction: Restriction,
    air: Air,
    up_pa: float,
    up_k: float,
    down_pa: float,
    down_k: float,
) -> float:
    """Mass flow through a `Restriction`, signed [kg/s].

    ``mdot = C p1 rho0 sqrt(T0 / T1) psi(p2 / p1)``; see `mass_flow`.

    Examples
    --------
    >>> path = Restriction(1e-8, critical_ratio=0.35)
    >>> restriction_flow(path, Air(), 7e5, 293.15, 5e5, 293.15)
    0.00686988
    """
    coefficient = choked_coefficient(restriction, air)
    return mass_flow(
        coefficient,
        steepness_of(restriction.critical_ratio),
        restriction.index,
        up_pa,
        up_k,
        down_pa,
        down_k,
    )


def critical_pressure_ratio(air: Air) -> float:
    """Throat over upstream pressure at the speed of sound.

    ``rc = (2 / (gamma + 1))**(gamma / (gamma - 1))``

    Examples
    --------
    >>> critical_pressure_ratio(Air())
    0.528282
    """
    gamma = air.gamma
    return float((2.0 / (gamma + 1.0)) ** (gamma / (gamma - 1.0)))


def nozzle_flow(
    area_m2: float, up_pa: float, up_k: float, down_pa: float, air: Air
) -> float:
    """Mass flow through an ideal isentropic nozzle.

    ``mdot = A p1 / sqrt(R T1) sqrt(2 g/(g - 1) (r**(2/g) - r**((g + 1)/g)))``
    with ``r = max(p2 / p1, rc)`` and ``g`` the ratio of specific heats.

    Parameters
    ----------
    area_m2 : float
        Throat area times discharge coefficient [m2].
    up_pa, up_k : float
        Upstream stagnation pressure [Pa] and temperature [K].
    down_pa : float
        Downstream pressure, not above ``up_pa`` [Pa].
    air : Air
        Gas constant and ratio of specific heats.

    Returns
    -------
    float
        Mass flow [kg/s].

    Notes
    -----
    Source: NACA Report 1135 (1953), isentropic relations, second-hand.

    Examples
    --------
    >>> nozzle_flow(1e-6, 7e5, 293.15, 1e5, Air())
    0.001652322
    """
    gamma = air.gamma
    ratio = max(down_pa / up_pa, critical_pressure_ratio(air))
    expansion = ratio ** (2.0 / gamma) - ratio ** ((gamma + 1.0) / gamma)
    speed_factor = math.sqrt(2.0 * gamma / (gamma - 1.0) * expansion)
    return area_m2 * up_pa / math.sqrt(air.gas_constant_j_kg_k * up_k) * speed_factor


def orifice_restriction(
    area_m2: float, discharge_coefficient: float, air: Air
) -> Restriction:
    """Find the `Restriction` that chokes as a hole of known area does.

    ``C = K Cd S / (rho0 sqrt(T0))`` with ``K`` the choked nozzle constant, and
    ``b`` the critical pressure ratio. Below choking the ellipse stays within
    0.16 % of the choked flow of the isentropic curve.

    Parameters
    ----------
    area_m2 : float
        Area of the hole, ``pi d**2 / 4`` for a round one [m2].
    discharge_coefficient : float
        Effective over geometric area, 0.6 (sharp) ... 1 (rounded) [-].
    air : Air
        The gas and its reference state.

    Returns
    -------
    Restriction
        Conductance [m3/(s Pa)] and critical ratio.

    Notes
    -----
    Source: equal choked mass flows of `nozzle_flow` and `restriction_flow`.

    Examples
    --------
    >>> orifice_restriction(1e-6, 1.0, Air()).conductance_m3_s_pa * 1e9
    1.99195
    """
    temperature_k = air.reference_temperature_k
    choked = nozzle_flow(discharge_coefficient * area_m2, 1.0, temperature_k, 0.0, air)
    return Restriction(
        conductance_m3_s_pa=choked / air.reference_density_kg_m3,
        critical_ratio=critical_pressure_ratio(air),
    )
