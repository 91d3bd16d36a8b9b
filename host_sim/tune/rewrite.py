"""A scenario file with another tuning: the user's own text, new numbers."""

import os
from pathlib import Path

import tomlkit

from host_sim.law.block import PARAMETER_SLOT
from host_sim.law.quantise import quantise
from host_sim.law.settings import LawSettings
from host_sim.scenario.recording import read_text

DIGITS = 6


def retuned_text(scenario_path: Path, law: LawSettings, target: Path) -> str:
    """Write the scenario's text with the controller of a law.

    Comments, order and all other keys stay as they are; a recorded command is
    named from where the new file will stand.

    Parameters
    ----------
    scenario_path : Path
        The file that the law was tuned for.
    law : LawSettings
        Its gains, weight, filters, deadband and compensation are taken.
    target : Path
        Where the text will stand.

    Returns
    -------
    str

    Raises
    ------
    InputError
        The file is gone.

    Notes
    -----
    Source: TOML 1.0 through `tomlkit`.
    """
    document = tomlkit.parse(read_text(scenario_path))
    controller = document.setdefault("controller", tomlkit.table())
    for form in ("parallel", "ideal", "series"):
        controller.pop(form, None)
    controller.pop("derivative_divisor", None)
    pid, gains = law.pid, law.pid.gains
    controller["weight"] = _number(pid.weight)
    controller["derivative_filter"] = f"{_number(pid.derivative_filter_s)} s"
    controller["tracking"] = f"{_number(pid.tracking_s)} s"
    controller["deadband"] = f"{_number(100 * pid.deadband)} %"
    controller["deadband_hysteresis"] = f"{_number(100 * pid.deadband_hysteresis)} %"
    ideal = tomlkit.table()
    ideal["kc"] = _number(gains.kp)
    ideal["ti"] = f"{_number(gains.ti_s)} s"
    ideal["td"] = f"{_number(gains.td_s)} s"
    controller["ideal"] = ideal
    supply = document.setdefault("supply_compensation", tomlkit.table())
    supply["strength"] = f"{_number(100 * law.supply.strength)} %"
    profile = document.get("profile", {})
    if "recording" in profile:
        recording = scenario_path.parent / profile["recording"]
        profile["recording"] = os.path.relpath(recording, target.parent)
    return tomlkit.dumps(document)


def block_as_dict(law: LawSettings) -> dict[str, object]:
    """Turn a law into the board's parameter block, word by word."""
    block = quantise(law)
    block.check_order()
    return {
        "tick_s": block.tick_s,
        "words": {name: block[name] for name in PARAMETER_SLOT},
    }


def _number(number: float) -> float:
    return float(f"{number:.{DIGITS}g}")
