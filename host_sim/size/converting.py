"""One flow capacity in every unit of the trade."""

from dataclasses import asdict, dataclass
from typing import Any

from host_sim.plant.gas import restriction_flow
from host_sim.plant.settings import Air
from host_sim.scenario.conversion import UnfitUnitError
from host_sim.scenario.reference import state_density_kg_m3
from host_sim.scenario.refusal import refusal
from host_sim.scenario.units import Basis, in_unit
from host_sim.size.capacity_text import read_capacity, read_conditions
from host_sim.size.flow_units import Triple, cv_per_kv
from host_sim.size.report import CONDUCTANCE


@dataclass(frozen=True)
class Conversion:
    """A capacity in every unit; each triple is least, likely, most.

    Flows run from ``up_pa`` to ``down_pa`` (absolute) at the reference
    temperature of C; ``scfm_state`` is what SCFM stands on.
    """

    said: str
    assumed: str
    conditions: str
    up_pa: float
    down_pa: float
    scfm_state: str
    conductance_dm3_s_bar: Triple
    critical_ratio: Triple
    kv_m3_h: Triple
    cv_gal_min: Triple
    flow_l_min_anr: Triple
    flow_scfm: Triple


def convert(text: str, conditions: str, scfm_state: str) -> Conversion:
    """Turn a capacity into every unit.

    Parameters
    ----------
    text : str
        See `capacity_text.read_capacity`; a bare SCFM stands on ``scfm_state``.
    conditions : str
        Pressures that flows are given at, "7 bar gauge to 6 bar gauge".
    scfm_state : str
        Temperature and absolute pressure, "60 degF, 14.696 psia".

    Returns
    -------
    Conversion

    Raises
    ------
    InputError
        A text that cannot be read.

    Notes
    -----
    Source: `flow_units`; the air of a scenario that says nothing of it.

    Examples
    --------
    >>> state = "60 degF, 14.696 psia"
    >>> convert("8 dm3/(s.bar) b 0.3", "100 psig to 90 psig", state).flow_scfm[1]
    62.79
    """
    air, basis = Air(), Basis(scfm_density_kg_m3=_density(scfm_state))
    capacity = read_capacity(text, air, basis, "CAPACITY")
    up_pa, down_pa = read_conditions(conditions, basis, "--at")
    temperature_k = air.reference_temperature_k
    flows = [
        restriction_flow(path, air, up_pa, temperature_k, down_pa, temperature_k)
        for path in capacity.variants
    ]
    litres, feet = (
        _ordered([in_unit(flow, "flow", unit, basis) for flow in flows])
        for unit in ("l/min ANR", "SCFM")
    )
    least, likely, most = (cv_per_kv() * kv for kv in capacity.kv_m3_h)
    return Conversion(
        said=text,
        assumed=capacity.assumed,
        conditions=conditions,
        up_pa=up_pa,
        down_pa=down_pa,
        scfm_state=scfm_state,
        conductance_dm3_s_bar=_ordered(
            [
                in_unit(path.conductance_m3_s_pa, "conductance", CONDUCTANCE)
                for path in capacity.variants
            ]
        ),
        critical_ratio=_ordered([path.critical_ratio for path in capacity.variants]),
        kv_m3_h=capacity.kv_m3_h,
        cv_gal_min=(least, likely, most),
        flow_l_min_anr=litres,
        flow_scfm=feet,
    )


def conversion_as_dict(conversion: Conversion) -> dict[str, Any]:
    """Turn a conversion into what ``--json`` prints."""
    return asdict(conversion)


def _density(state: str) -> float:
    try:
        return state_density_kg_m3(state)
    except UnfitUnitError as error:
        raise refusal("--scfm", state, error.why, error.remedy) from None


def _ordered(numbers: list[float]) -> Triple:
    """Sort three numbers of which the likely one is the second anyway."""
    least, likely, most = sorted(numbers)
    return least, likely, most
