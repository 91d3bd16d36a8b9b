"""Volume flows at reference conditions, made into mass flows.

A flow "ANR" is mass over the conventional density of the scenario's air,
1.185 kg/m3 unless set (ISO 8778, humid). Every other reference state counts as
dry ideal air, so the same flow through "ANR" and through "SCFM" differs by the
0.28 % that lie between the two conventions.
"""

import re

from host_sim.scenario.conversion import UnfitUnitError, Unit, plain_unit

GAS_CONSTANT_J_MOL_K = 8.314462618
DRY_AIR_KG_MOL = 0.0289644

_STATE = re.compile(r"(?P<volume>.+?)\s*\((?P<state>[^(,]*,.*)\)")
_ANR = re.compile(r"(?P<volume>.+?)\s*(?:ANR|\(ANR\))")
_NORMAL = re.compile(r"N(?P<volume>(?:m3|m³|[lL])\b.*)")
_SCFM = re.compile("SCFM", re.IGNORECASE)
_SCFM_REMEDY = "write 'SCFM (60 degF, 14.696 psia)' or set air.scfm_reference"
_EXAMPLE = (
    "write 'l/min ANR', 'Nm3/h', or the state in brackets: "
    "'SCFM (60 degF, 14.696 psia)'"
)


def dry_air_density_kg_m3(temperature_k: float, pressure_pa: float) -> float:
    """Return the density of dry ideal air, ``p M / (R T)``.

    Parameters
    ----------
    temperature_k, pressure_pa : float
        The reference state [K], [Pa].

    Returns
    -------
    float
        Density [kg/m3].

    Notes
    -----
    Source: ideal gas law; M = 28.9644 g/mol, from memory (US Standard
    Atmosphere 1976).

    Examples
    --------
    >>> dry_air_density_kg_m3(273.15, 101_325.0)
    1.292248
    """
    return pressure_pa * DRY_AIR_KG_MOL / (GAS_CONSTANT_J_MOL_K * temperature_k)


NORMAL_DENSITY_KG_M3 = dry_air_density_kg_m3(273.15, 101_325.0)


def state_density_kg_m3(state: str) -> float:
    """Read a reference state such as "60 degF, 14.696 psia".

    Parameters
    ----------
    state : str
        Temperature and absolute pressure, with a comma between them.

    Returns
    -------
    float
        Density of dry air in that state [kg/m3].

    Raises
    ------
    UnfitUnitError
        Not a temperature and an absolute pressure.

    Notes
    -----
    Source: `dry_air_density_kg_m3`.

    Examples
    --------
    >>> state_density_kg_m3("60 degF, 14.696 psia")
    1.2226
    """
    found = re.fullmatch(
        r"\s*(-?[\d.]+)\s*([^,]+?)\s*,\s*([\d.]+)\s*(\S+?)\s*(?:a|\(a\)|\sabs(?:olute)?)\s*",
        state,
    )
    unfit = UnfitUnitError(
        f"{state!r} is not a reference state",
        "write temperature and absolute pressure: '60 degF, 14.696 psia'",
    )
    if not found:
        raise unfit
    temperature, temperature_unit, pressure, pressure_unit = found.groups()
    try:
        kelvin = plain_unit(temperature_unit, "K")
        pascal = plain_unit(pressure_unit, "Pa")
        temperature_k = kelvin.scale * float(temperature) + kelvin.offset
        pressure_pa = pascal.scale * float(pressure)
    except ValueError as error:
        raise unfit from error
    if temperature_k <= 0.0 or pressure_pa <= 0.0:
        raise unfit
    return dry_air_density_kg_m3(temperature_k, pressure_pa)


def flow_unit(
    text: str, anr_density_kg_m3: float, scfm_density_kg_m3: float | None
) -> Unit:
    """Find the factor of a flow unit: mass, or volume at a reference.

    ``mass flow = density(reference) * volume flow``.

    Parameters
    ----------
    text : str
        Such as "l/min ANR", "SCFM", "Nm3/h" (DIN 1343), "g/s".
    anr_density_kg_m3 : float
        Conventional density at the ISO 8778 reference [kg/m3].
    scfm_density_kg_m3 : float | None
        Density that a bare SCFM stands on [kg/m3]; ``None``: not stated.

    Returns
    -------
    Unit
        Scale to kg/s.

    Raises
    ------
    UnfitUnitError
        Not a flow, or a volume flow without its reference state.

    Notes
    -----
    Source: ISO 8778 and DIN 1343 states, second-hand; ideal gas.

    Examples
    --------
    >>> flow_unit("l/min ANR", 1.185, None)
    Unit(scale=1.975e-05, offset=0.0)
    """
    volume, density_kg_m3 = text, scfm_density_kg_m3
    if state := _STATE.fullmatch(text):
        volume, density_kg_m3 = state["volume"], state_density_kg_m3(state["state"])
    elif anr := _ANR.fullmatch(text):
        volume, density_kg_m3 = anr["volume"], anr_density_kg_m3
    elif normal := _NORMAL.fullmatch(text):
        volume, density_kg_m3 = normal["volume"], NORMAL_DENSITY_KG_M3
    elif not _SCFM.fullmatch(text):
        return _mass_flow(text)
    if density_kg_m3 is None:
        why = "SCFM has several reference conditions"
        raise UnfitUnitError(why, _SCFM_REMEDY)
    cubic_feet = "ft3/min" if _SCFM.fullmatch(volume) else volume
    return Unit(plain_unit(cubic_feet, "m**3/s").scale * density_kg_m3)


def _mass_flow(text: str) -> Unit:
    try:
        return plain_unit(text, "kg/s")
    except UnfitUnitError:
        plain_unit(text, "m**3/s")
    raise UnfitUnitError(f"{text!r} is a flow at no stated conditions", _EXAMPLE)
