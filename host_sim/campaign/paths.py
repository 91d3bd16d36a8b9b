"""The numbers of a scenario that a campaign may vary, by dotted path.

A path follows the fields of `Scenario`: ``plant.arrangement.load.volume_m3``,
``law.pid.gains.kp``, ``profile.currents_ma.1`` (a place in a row of numbers).
"""

import dataclasses
import difflib
import re
from collections.abc import Iterator
from functools import cache
from typing import Any, get_args, get_type_hints

from host_sim.errors import InputError
from host_sim.scenario.keys import TABLES
from host_sim.scenario.load import Scenario
from host_sim.scenario.reading import read_key
from host_sim.scenario.schema import Key, join
from host_sim.scenario.units import KINDS, Basis

# Numbers that no run depends on, or that a campaign sets itself.
_FIXED = re.compile(r"(ticks|(basis|wanted|family|limits)\..*|plant\.sensing\.seed)")

# Which table of a scenario file describes which settings; the first that fits.
_TABLES_OF = (
    ("plant.arrangement.load_bleed", "load.bleed"),
    ("plant.arrangement.bleed", "load.bleed"),
    ("plant.arrangement.pilot.chamber", "pilot.chamber"),
    ("plant.arrangement.pilot.fill", "pilot.chamber.fill"),
    ("plant.arrangement.pilot.exhaust", "pilot.chamber.exhaust"),
    ("plant.arrangement.pilot.bleed", "pilot.chamber.bleed"),
    ("plant.arrangement.pilot", "pilot.lag"),
    ("plant.arrangement", ""),
    ("plant.sensing", "sensor"),
    ("current_channel", "sensor.current"),
    ("law.pid.gains", "controller.parallel"),
    ("law.pid", "controller"),
    ("law.supply", "supply_compensation"),
    ("law.tick_s", "run.tick"),
    ("law", ""),
    ("", "run"),
)
_KEYS_OF = {"start_pressure_pa": "start", "ripple_hz": "ripple_frequency"}
_UNIT = re.compile(r"_(m3_s_pa|j_kg_k|kg_m3|w_k|per_s|pa|m3|hz|ma|k|s)$")
_KEYS = {join(table.path, key.name): key for table in TABLES for key in table.keys}


def numeric_paths(scenario: Scenario) -> dict[str, type]:
    """List every number that a campaign may vary, with its type.

    Parameters
    ----------
    scenario : Scenario

    Returns
    -------
    dict of str to type
        Path to ``float``, or to ``int`` for a whole number.

    Examples
    --------
    >>> from host_sim.scenario.load import load_scenario, shipped_scenario_path
    >>> paths = numeric_paths(load_scenario(shipped_scenario_path()))
    >>> paths["law.pid.gains.kp"], paths["plant.sensing.pressure.bits"]
    (<class 'float'>, <class 'int'>)
    """
    return {
        path: kind
        for path, kind in _walk(scenario, "", Scenario)
        if not _FIXED.fullmatch(path)
    }


def check_path(path: str, known: dict[str, type]) -> None:
    """Refuse a path that leads to no number.

    Raises
    ------
    InputError
        With the nearest path that does.
    """
    if path not in known:
        name = path.rpartition(".")[2]
        same = [other for other in known if other.rpartition(".")[2] == name]
        near = difflib.get_close_matches(path, same or known, 1, 0.0)[0]
        raise InputError(
            f"space: {path!r} is no number of the scenario; did you mean {near!r}?"
        )


def replace_at(settings: Any, path: str, number: float) -> Any:  # noqa: ANN401
    """Copy settings with the number at one path replaced.

    Parameters
    ----------
    settings : dataclass or tuple
    path : str
        A path that `numeric_paths` lists.
    number : float or int

    Returns
    -------
    dataclass or tuple
        Of the same type; the original stays as it is.

    Examples
    --------
    >>> from host_sim.law.settings import LawSettings
    >>> replace_at(LawSettings(tick_s=0.01), "pid.gains.kp", 2.5).pid.gains.kp
    2.5
    """
    name, _, rest = path.partition(".")
    if isinstance(settings, tuple):
        place = int(name)
        inner = replace_at(settings[place], rest, number) if rest else number
        return (*settings[:place], inner, *settings[place + 1 :])
    inner = replace_at(getattr(settings, name), rest, number) if rest else number
    return dataclasses.replace(settings, **{name: inner})


def check_range(path: str, number: float) -> None:
    """Hold a number against the range that a scenario file allows for it.

    Parameters
    ----------
    path : str
        A path that `numeric_paths` lists; one that no key describes passes.
    number : float or int
        In SI units, currents in mA.

    Raises
    ------
    InputError
        Outside that range, or not finite.

    Examples
    --------
    >>> check_range("plant.arrangement.load.volume_m3", -0.001)
    Traceback (most recent call last):
    host_sim.errors.InputError: plant.arrangement.load.volume_m3 = '-0.001 m**3':
    outside the allowed range 1e-7 ... 1000 m3; choose a value inside it
    """
    key = _key_of(path)
    if key is None or not isinstance(key.kind, str):
        return
    if key.kind == "whole":
        read_key(key, number, path, Basis())
        return
    unit = KINDS[key.kind].si
    if key.kind in ("pressure", "absolute pressure"):
        unit += " absolute"
    unit = unit.replace("dimensionless", "")
    read_key(key, f"{number!r} {unit}".strip(), path, Basis())


@cache
def _hints(settings: type) -> dict[str, Any]:
    return get_type_hints(settings)


def _walk(node: object, path: str, hint: object) -> Iterator[tuple[str, type]]:
    if dataclasses.is_dataclass(node) and not isinstance(node, type):
        hints = _hints(type(node))
        for part in dataclasses.fields(node):
            name = part.name
            yield from _walk(getattr(node, name), join(path, name), hints[name])
    elif isinstance(node, tuple):
        for place, item in enumerate(node):
            yield from _walk(item, f"{path}.{place}", type(item))
    else:
        kinds = (hint, *get_args(hint))
        if float in kinds:
            yield path, float
        elif int in kinds:
            yield path, int


def _key_of(path: str) -> Key | None:
    for settings, table in _TABLES_OF:
        if not settings or path == settings or path.startswith(f"{settings}."):
            rest = path[len(settings) :].lstrip(".")
            parent, _, field = rest.rpartition(".")
            name = _KEYS_OF.get(field) or _UNIT.sub("", field)
            full = ".".join(part for part in (table, parent, name) if part)
            return _KEYS.get(full)
    return None
