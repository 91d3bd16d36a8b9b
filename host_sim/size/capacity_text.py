"""A flow capacity as people write it, read with its conditions."""

import re

from host_sim.errors import InputError
from host_sim.plant.settings import Air
from host_sim.scenario.refusal import refusal
from host_sim.scenario.units import Basis, parse
from host_sim.size.flow_units import (
    Capacity,
    capacity_of_conductance,
    capacity_of_flow,
    capacity_of_kv,
    cv_per_kv,
)

EXAMPLES = (
    "write '4 dm3/(s.bar) b 0.3', 'Cv 1.2', 'Kv 1.0 xT 0.7' or a flow with its "
    "pressures: '600 l/min ANR at 7 bar gauge to 6 bar gauge'"
)
# A number followed by neither a digit nor a second comma or point.
_NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
_COEFFICIENT = re.compile(
    rf"(?P<unit>Cv|Kv)\s*(?P<number>{_NUMBER})(?:\s+xT\s*(?P<xt>{_NUMBER}))?"
)
_RATIO = re.compile(rf"(?P<rest>.+?)(?:\s+b\s*(?P<ratio>{_NUMBER}))?")
_CONDITIONS = re.compile(r"(?P<up>.+?)\s+to\s+(?P<down>.+)")


def read_capacity(text: str, air: Air, basis: Basis, where: str) -> Capacity:
    """Read C, Cv, Kv or a flow at stated pressures.

    Parameters
    ----------
    text : str
        Such as "4 dm3/(s.bar) b 0.3", "Cv 1.2", "Kv 1.0 xT 0.7" or
        "90 SCFM (60 degF, 14.696 psia) at 100 psig to 90 psig".
    air : Air
        The gas.
    basis : Basis
        What gauge pressures and flows stand on.
    where : str
        Place of the text, for the error.

    Returns
    -------
    Capacity
        What is not stated, b or xT, is assumed within its usual range.

    Raises
    ------
    InputError
        Not a capacity, a flow without its pressures, or not above zero.

    Examples
    --------
    >>> capacity = read_capacity("0.35 dm3/(s.bar) b 0.25", Air(), Basis(), "fill")
    >>> capacity.likely
    Restriction(conductance_m3_s_pa=3.5e-09, critical_ratio=0.25, index=0.5)
    """
    if found := _COEFFICIENT.fullmatch(text.strip()):
        kv = _above_zero(float(found["number"]), text, where)
        if found["unit"] == "Cv":
            kv /= cv_per_kv()
        xt = None if found["xt"] is None else _share(found["xt"], "xT", text, where)
        return capacity_of_kv(kv, xt, air)
    parted = _RATIO.fullmatch(text.strip())
    if not parted:
        raise refusal(where, text, "no capacity", EXAMPLES)
    ratio = parted["ratio"]
    critical = None if ratio is None else _share(ratio, "b", text, where)
    quantity, at, conditions = parted["rest"].partition(" at ")
    if at:
        flow_kg_s = _above_zero(parse(quantity, "flow", where, basis), text, where)
        up_pa, down_pa = read_conditions(conditions, basis, where)
        return capacity_of_flow(flow_kg_s, up_pa, down_pa, critical, air)
    _refuse_bare_flow(quantity, text, basis, where)
    conductance = parse(quantity, "conductance", where, basis)
    conductance = _above_zero(conductance, text, where)
    return capacity_of_conductance(conductance, critical, air)


def read_conditions(text: str, basis: Basis, where: str) -> tuple[float, float]:
    """Read the two pressures that a flow is stated at.

    Parameters
    ----------
    text : str
        Upstream and downstream, such as "7 bar gauge to 6 bar gauge".
    basis : Basis
        What gauge pressures stand on.
    where : str
        Place of the text, for the error.

    Returns
    -------
    tuple of float
        Absolute pressures [Pa].

    Raises
    ------
    InputError
        Not two pressures, or the first not above the second.

    Examples
    --------
    >>> read_conditions("7 bar absolute to 6 bar absolute", Basis(), "--at")
    (700000.0, 600000.0)
    """
    found = _CONDITIONS.fullmatch(text.strip())
    if not found:
        remedy = "write for example '7 bar gauge to 6 bar gauge'"
        raise refusal(where, text, "not two pressures", remedy)
    up_pa, down_pa = (
        parse(found[end], "pressure", where, basis) for end in ("up", "down")
    )
    if up_pa <= down_pa:
        why, remedy = "no drop of pressure", "write the higher pressure first"
        raise refusal(where, text, why, remedy)
    return up_pa, down_pa


def _refuse_bare_flow(quantity: str, text: str, basis: Basis, where: str) -> None:
    if "SCFM" not in quantity.upper():
        try:
            parse(quantity, "flow", where, basis)
        except InputError:
            return
    why = "a flow without the pressures that it was measured at"
    raise refusal(where, text, why, "add for example 'at 7 bar gauge to 6 bar gauge'")


def _above_zero(number: float, text: str, where: str) -> float:
    if number > 0.0:
        return number
    raise refusal(where, text, "not above zero", EXAMPLES)


def _share(number: str, name: str, text: str, where: str) -> float:
    share = float(number)
    if 0.0 <= share <= 0.99 and (name == "b" or share >= 0.1):
        return share
    low = "0" if name == "b" else "0.1"
    why = f"{name} outside the allowed range {low} ... 0.99"
    raise refusal(where, text, why, "check the figure")
