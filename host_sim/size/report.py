"""A sizing as numbers with their units in the names, and its formulas in words."""

from typing import Any

from host_sim.plant.settings import Air, Restriction
from host_sim.scenario.units import Basis, in_unit
from host_sim.size.flow_units import cv_per_kv, kv_range
from host_sim.size.pressure_range import PressureRange
from host_sim.size.sizing import Sizing, StrokeAnswer

CONDUCTANCE = "dm3/(s.bar)"
SCFM_STATE = "60 degF, 14.696 psia"

FORMULAS = {
    "needed conductance": "the C with which the simulated plant, valve fully open, "
    "takes the wanted time",
    "quick formula, filling": "volume times pressure rise, over gas constant, "
    "temperature, time, reference density and supply pressure",
    "quick formula, venting": "volume times logarithm of the pressure ratio, over gas "
    "constant, temperature, time and reference density",
    "cost of an element": "time less the time with that element out of the way: a path "
    "ten times as wide, the supply right at the valve, a pilot that acts at once",
    "flow at conditions": "C times upstream pressure times the share of choked flow "
    "that the ratio of the pressures leaves",
    "Cv and Kv": "choked flow of air by IEC 60534 at xT 0.6 ... 0.8 set equal to that "
    "of C; no exact ratio, and below choking the two laws part by up to 6 % more",
    "supply margin": "lowest source pressure less the wanted end pressure",
    "droop": "lowest source pressure less the lowest pressure at the valve's inlet "
    "while filling with the needed C",
    "choked up to": "critical ratio b times the lowest source pressure",
    "range": "smallest usual range that holds every set point; one count of the law is "
    "a 25 000th of it",
}


def scfm_unit(basis: Basis) -> tuple[str, str]:
    """Name the unit of standard cubic feet and its state.

    Returns
    -------
    tuple of str
        Unit for `units.in_unit`; reference state in words.
    """
    if basis.scfm_density_kg_m3 is None:
        return f"SCFM ({SCFM_STATE})", SCFM_STATE
    return "SCFM", f"air.scfm_reference, {basis.scfm_density_kg_m3:.5g} kg/m3"


def conductance_figures(path: Restriction, air: Air) -> dict[str, Any]:
    """Give C, b and m, and the Kv and Cv that they may mean.

    Parameters
    ----------
    path : Restriction
    air : Air
        The gas.

    Returns
    -------
    dict
        Units in the keys; Kv and Cv as [least, likely, most].
    """
    kv = kv_range((path.conductance_m3_s_pa,) * 3, air)
    return {
        "conductance_dm3_s_bar": in_unit(
            path.conductance_m3_s_pa, "conductance", CONDUCTANCE
        ),
        "critical_ratio": path.critical_ratio,
        "index": path.index,
        "kv_m3_h": list(kv),
        "cv_gal_min": [cv_per_kv() * number for number in kv],
    }


def flow_figures(flow_kg_s: float, basis: Basis) -> dict[str, Any]:
    """Give a flow in l/min ANR and SCFM, and what each stands on.

    Parameters
    ----------
    flow_kg_s : float
        Mass flow [kg/s].
    basis : Basis
        The scenario's reference densities.

    Returns
    -------
    dict
        Units in the keys.
    """
    feet, state = scfm_unit(basis)
    return {
        "flow_l_min_anr": in_unit(flow_kg_s, "flow", "l/min ANR", basis),
        "anr_density_kg_m3": basis.anr_density_kg_m3,
        "flow_scfm": in_unit(flow_kg_s, "flow", feet, basis),
        "scfm_reference": state,
    }


def sizing_as_dict(sizing: Sizing) -> dict[str, Any]:
    """Turn a sizing into what ``--json`` prints, in absolute Pa."""
    return {
        "title": sizing.scenario.title,
        "assumed": sizing.assumed,
        "filling": _stroke_as_dict(sizing, sizing.fill),
        "venting": _stroke_as_dict(sizing, sizing.vent),
        "supply": {
            "source_pa": sizing.source_pa,
            "margin_pa": sizing.supply_margin_pa,
            "lowest_at_valve_pa": sizing.fill.lowest_supply_pa,
            "droop_pa": sizing.droop_pa,
            "choked_to_pa": sizing.choked_to_pa,
        },
        "range": None if sizing.range is None else range_as_dict(sizing.range),
        "formulas": FORMULAS,
    }


def range_as_dict(picked: PressureRange) -> dict[str, Any]:
    """Turn a pressure range into what ``--json`` prints."""
    return {**vars(picked), "used_percent": 100.0 * picked.used}


def _stroke_as_dict(sizing: Sizing, answer: StrokeAnswer) -> dict[str, Any]:
    stroke, basis = answer.stroke, sizing.scenario.basis
    air = stroke.plant.air
    return {
        "from_pa": stroke.start_pa,
        "target_pa": stroke.target_pa,
        "wanted_s": stroke.wanted_s,
        "needed": {
            **conductance_figures(answer.needed, air),
            **flow_figures(answer.flow_kg_s, basis),
            "flow_from_pa": answer.stated_up_pa,
            "flow_to_pa": answer.stated_down_pa,
            "simulated_s": answer.needed_s,
        },
        "present": {
            **conductance_figures(answer.present, air),
            "simulated_s": answer.present_s,
            "enough": answer.present_is_enough,
        },
        "quick_formula_to_simulation": [
            {
                "counted": reason.words,
                "conductance_dm3_s_bar": _shown(reason.conductance_m3_s_pa),
            }
            for reason in answer.reasons
        ],
        "limits": [
            {
                "element": element.name,
                "conductance_dm3_s_bar": None
                if element.conductance_m3_s_pa is None
                else _shown(element.conductance_m3_s_pa),
                "time_without_it_s": element.without_s,
                "costs_s": answer.needed_s - element.without_s,
            }
            for element in answer.elements
        ],
    }


def _shown(conductance_m3_s_pa: float) -> float:
    return in_unit(conductance_m3_s_pa, "conductance", CONDUCTANCE)
