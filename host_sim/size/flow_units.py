"""Flow capacity in several units: ISO 6358 C and b, Cv, Kv, flow at conditions.

Cv and Kv are defined with water, C with choked air. What joins them is how a
valve chokes, the ratio xT of IEC 60534, and that is seldom printed: hence every
capacity here is three restrictions that agree with what was said.
"""

import math
from dataclasses import dataclass

from host_sim.plant.gas import flow_function
from host_sim.plant.settings import Air, Restriction
from host_sim.scenario.conversion import plain_unit

WATER_KG_M3 = 999.1
"""Density that Kv and Cv stand on: water of 15 degC (from memory)."""
TYPICAL_XT = (0.6, 0.7, 0.8)
"""xT of ball-like, ordinary and contoured valves (common practice, no source)."""
TYPICAL_CRITICAL_RATIO = (0.2, 0.3, 0.5)
"""Critical ratio b of long, ordinary and short paths (common practice, no source)."""
XT_REFERENCE_GAMMA = 1.4
"""IEC 60534 gives xT for air: other gases choke at xT gamma / 1.4."""


Triple = tuple[float, float, float]
"""Least, likely, most."""


@dataclass(frozen=True)
class Capacity:
    """A flow capacity that is not known exactly.

    ``variants`` are restrictions that all agree with what was stated; the
    middle one is likely, and all are one where nothing was assumed.
    ``kv_m3_h`` is its Kv, ``assumed`` says what was assumed.
    """

    variants: tuple[Restriction, Restriction, Restriction]
    kv_m3_h: Triple
    assumed: str

    @property
    def likely(self) -> Restriction:
        """The likely variant."""
        return self.variants[1]

    @property
    def least(self) -> Restriction:
        """What passes no more than any variant at any pressure."""
        return Restriction(
            min(one.conductance_m3_s_pa for one in self.variants),
            min(one.critical_ratio for one in self.variants),
        )

    @property
    def most(self) -> Restriction:
        """What passes no less than any variant at any pressure."""
        return Restriction(
            max(one.conductance_m3_s_pa for one in self.variants),
            max(one.critical_ratio for one in self.variants),
        )


def cv_per_kv() -> float:
    """Return Cv of a valve whose Kv is 1: an exact ratio of units.

    ``Cv`` counts US gallons a minute at 1 psi, ``Kv`` cubic metres an hour at
    1 bar.

    Returns
    -------
    float
        Ratio [-].

    Notes
    -----
    Source: definitions; factors of pint.

    Examples
    --------
    >>> cv_per_kv()
    1.156099
    """
    gallons = plain_unit("m**3/hour", "m**3/s").scale
    gallons /= plain_unit("gallon/minute", "m**3/s").scale
    return float(gallons * math.sqrt(plain_unit("psi", "bar").scale))


def kv_mass_flow(
    kv: float, xt: float, air: Air, up_pa: float, up_k: float, down_pa: float
) -> float:
    """Find the flow of air through a valve of known Kv, IEC 60534.

    ``mdot = Kv/3600 Y sqrt(x p1/1e5 rho1 rho_water)`` with
    ``x = min((p1 - p2)/p1, F xT)``, ``Y = 1 - x/(3 F xT)``, ``F = gamma/1.4``

    Parameters
    ----------
    kv : float
        Flow coefficient [m3/h at 1 bar].
    xt : float
        Pressure-fall ratio at which the valve chokes with air [-].
    air : Air
        The gas.
    up_pa, up_k : float
        Absolute pressure [Pa] and temperature [K] upstream.
    down_pa : float
        Absolute pressure downstream, not above ``up_pa`` [Pa].

    Returns
    -------
    float
        Mass flow [kg/s].

    Notes
    -----
    Source: IEC 60534-2-1, turbulent flow without fittings, second-hand.

    Examples
    --------
    >>> kv_mass_flow(0.528356, 0.7, Air(), 7.013e5, 293.15, 1.013e5) * 1e3
    19.78
    """
    choked = air.gamma / XT_REFERENCE_GAMMA * xt
    fall = min((up_pa - down_pa) / up_pa, choked)
    expansion = 1.0 - fall / (3.0 * choked)
    density_kg_m3 = up_pa / (air.gas_constant_j_kg_k * up_k)
    drop_bar = fall * up_pa / 1e5
    return kv / 3600.0 * expansion * math.sqrt(drop_bar * density_kg_m3 * WATER_KG_M3)


def conductance_per_kv(xt: float, air: Air) -> float:
    """Find the C of a valve whose Kv is 1, by equal choked flow.

    ``C = mdot / (rho0 p1)`` of `kv_mass_flow`, at the reference temperature.

    Parameters
    ----------
    xt : float
        See `kv_mass_flow` [-].
    air : Air
        The gas and the reference state of C.

    Returns
    -------
    float
        Sonic conductance [m3/(s Pa)].

    Notes
    -----
    Source: `kv_mass_flow`; below choking the two laws differ by a few per cent.

    Examples
    --------
    >>> conductance_per_kv(0.7, Air()) * 1e8
    4.5052
    """
    flow_kg_s = kv_mass_flow(1.0, xt, air, 1e5, air.reference_temperature_k, 0.0)
    return flow_kg_s / (air.reference_density_kg_m3 * 1e5)


def kv_range(conductances_m3_s_pa: Triple, air: Air) -> Triple:
    """Turn C into Kv, for xT 0.8, 0.7 and 0.6.

    ``Kv = C / conductance_per_kv(xT)``

    Parameters
    ----------
    conductances_m3_s_pa : tuple of float
        Least, likely and most C; three times the same where it is known.
    air : Air
        The gas.

    Returns
    -------
    tuple of float
        Least, likely and most Kv [m3/h at 1 bar]; times `cv_per_kv` for Cv.

    Notes
    -----
    Source: `conductance_per_kv`.

    Examples
    --------
    >>> [round(kv, 4) for kv in kv_range((1e-8, 1e-8, 1e-8), Air())]
    [0.2076, 0.222, 0.2397]
    """
    least, likely, most = (
        conductance / conductance_per_kv(xt, air)
        for conductance, xt in zip(
            conductances_m3_s_pa, reversed(TYPICAL_XT), strict=True
        )
    )
    return least, likely, most


def capacity_of_kv(kv: float, xt: float | None, air: Air) -> Capacity:
    """Turn a Kv into C and b, with what is not known about it.

    ``C = Kv conductance_per_kv(xT)``, ``b = 1 - xT``; an xT that is not stated
    is 0.6 ... 0.8.

    Parameters
    ----------
    kv : float
        Flow coefficient [m3/h at 1 bar].
    xt : float or None
        Ratio of choking, where the valve's data give it [-].
    air : Air
        The gas.

    Returns
    -------
    Capacity
        Below choking the ellipse of C and b passes up to 6 % less than IEC
        60534 says.

    Notes
    -----
    Source: `conductance_per_kv`.

    Examples
    --------
    >>> capacity = capacity_of_kv(1.0, None, Air())
    >>> [path.conductance_m3_s_pa * 1e8 for path in capacity.variants]
    [4.17, 4.51, 4.82]
    """
    ratios = TYPICAL_XT if xt is None else (xt, xt, xt)
    low, likely, high = (
        Restriction(kv * conductance_per_kv(ratio, air), 1.0 - ratio)
        for ratio in ratios
    )
    words = "C by equal choked flow, b = 1 - xT: below choking up to 6 % low"
    if xt is None:
        words = f"xT {ratios[0]:g} ... {ratios[-1]:g} assumed, {words}"
    return Capacity((low, likely, high), (kv, kv, kv), words)


def capacity_of_conductance(
    conductance_m3_s_pa: float, critical_ratio: float | None, air: Air
) -> Capacity:
    """Take C as it is; a b that is not stated is 0.2 ... 0.5.

    Parameters
    ----------
    conductance_m3_s_pa : float
        Sonic conductance [m3/(s Pa)].
    critical_ratio : float or None
        Critical ratio b, where it is stated [-].
    air : Air
        The gas, for Kv.

    Returns
    -------
    Capacity

    Examples
    --------
    >>> capacity_of_conductance(1e-8, None, Air()).least.critical_ratio
    0.2
    """
    low, likely, high = (
        Restriction(conductance_m3_s_pa, ratio)
        for ratio in _critical_ratios(critical_ratio)
    )
    return _with_kv((low, likely, high), _assumed_ratio(critical_ratio), air)


def capacity_of_flow(
    flow_kg_s: float,
    up_pa: float,
    down_pa: float,
    critical_ratio: float | None,
    air: Air,
) -> Capacity:
    """Find C from a flow at stated pressures.

    ``C = mdot / (rho0 p1 psi(p2/p1))`` at the reference temperature.

    Parameters
    ----------
    flow_kg_s : float
        Mass flow [kg/s].
    up_pa, down_pa : float
        Absolute pressures that it was stated at, the first above the second [Pa].
    critical_ratio : float or None
        Critical ratio b, where it is stated [-].
    air : Air
        The gas.

    Returns
    -------
    Capacity
        Every variant passes the flow; below choking a larger b means a smaller C.

    Notes
    -----
    Source: ISO 6358-1:2013, second-hand.

    Examples
    --------
    >>> flow = 677.878e-3 / 60 * 1.185
    >>> capacity_of_flow(flow, 7.013e5, 5.013e5, 0.3, Air()).likely
    Restriction(conductance_m3_s_pa=2.0e-08, critical_ratio=0.3, index=0.5)
    """
    choked_kg_s = air.reference_density_kg_m3 * up_pa
    low, likely, high = (
        Restriction(
            flow_kg_s / (choked_kg_s * flow_function(down_pa / up_pa, ratio, 0.5)),
            ratio,
        )
        for ratio in _critical_ratios(critical_ratio)
    )
    return _with_kv((low, likely, high), _assumed_ratio(critical_ratio), air)


def _with_kv(
    variants: tuple[Restriction, Restriction, Restriction], assumed: str, air: Air
) -> Capacity:
    least, likely, most = sorted(one.conductance_m3_s_pa for one in variants)
    return Capacity(variants, kv_range((least, likely, most), air), assumed)


def _critical_ratios(stated: float | None) -> Triple:
    return TYPICAL_CRITICAL_RATIO if stated is None else (stated, stated, stated)


def _assumed_ratio(stated: float | None) -> str:
    if stated is not None:
        return ""
    return "b {:g} ... {:g} assumed".format(*TYPICAL_CRITICAL_RATIO[::2])
