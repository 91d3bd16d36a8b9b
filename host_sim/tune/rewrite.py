"""A scenario file with another tuning: the user's own text, new numbers."""

import os
from pathlib import Path

import tomlkit
from tomlkit.items import Table

from host_sim.law.block import PARAMETER_SLOT
from host_sim.law.quantise import quantise
from host_sim.law.settings import Gains, LawSettings
from host_sim.scenario.recording import read_text

DIGITS = 12
"""Enough for the same block, few enough that 0.3 is no 0.30000000000000004."""


def retuned_text(scenario_path: Path, law: LawSettings, target: Path) -> str:
    """Write the scenario's text with the controller of a law.

    Comments, order, the form of the gains and all other keys stay as they are,
    but a divisor gives way to the derivative filter; a recorded command is named
    from where the new file will stand.

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
    controller = document["controller"]
    if isinstance(controller, Table) and controller.is_super_table():
        # Its new heading would repeat the remark beside the first one below it.
        controller.trivia.comment = controller.trivia.comment_ws = ""
    pid = law.pid
    controller["weight"] = _number(pid.weight)
    controller["derivative_filter"] = f"{_number(pid.derivative_filter_s)} s"
    controller["tracking"] = f"{_number(pid.tracking_s)} s"
    controller["deadband"] = f"{_number(100 * pid.deadband)} %"
    controller["deadband_hysteresis"] = f"{_number(100 * pid.deadband_hysteresis)} %"
    # Not before: tomlkit drops the heading of a table that becomes empty.
    controller.pop("derivative_divisor", None)
    form = "ideal" if "ideal" in controller else "parallel"
    controller[form].update(_gains(pid.gains)[form])
    supply = document.setdefault("supply_compensation", tomlkit.table())
    supply["strength"] = f"{_number(100 * law.supply.strength)} %"
    profile = document.get("profile", {})
    if "recording" in profile:
        recording = scenario_path.parent / profile["recording"]
        profile["recording"] = os.path.relpath(recording, target.parent)
    return tomlkit.dumps(document)


def _gains(gains: Gains) -> dict[str, dict[str, object]]:
    """Write gains in either form that a file may have them in."""
    proportional = _number(gains.kp)
    return {
        "ideal": {
            "kc": proportional,
            "ti": f"{_number(gains.ti_s)} s",
            "td": f"{_number(gains.td_s)} s",
        },
        "parallel": {
            "kp": proportional,
            "ki": f"{_number(gains.ki_per_s)} 1/s",
            "kd": f"{_number(gains.kd_s)} s",
        },
    }


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
