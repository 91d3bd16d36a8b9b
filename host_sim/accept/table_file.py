"""A calibration table as a person types it or a calibrator exports it.

One row a reading: a current, a pressure, and perhaps a cycle and a direction.
Semicolon, tab or comma between cells; decimal commas unless the comma separates.
"""

import csv
import re
from pathlib import Path
from typing import NamedTuple

from host_sim.accept.range_text import PressureUnit, pressure_unit
from host_sim.errors import InputError
from host_sim.scenario.recording import read_text
from host_sim.scenario.refusal import refusal
from host_sim.scenario.units import Basis, parse

_UNIT_AT_END = (
    re.compile(r"(?P<name>.+?)\s*\[(?P<unit>.*)\]"),
    re.compile(r"(?P<name>.+?)\s*\((?P<unit>.*)\)"),
    re.compile(r"(?P<name>.+?)\s*(?:/|\bin\b)\s*(?P<unit>\S.*)"),
    re.compile(r"(?P<name>.+?)[ _](?P<unit>\S+ (?:gauge|absolute))"),
    re.compile(r"(?P<name>.+?)[ _](?P<unit>[^\s_]+)"),
)
_OWN_SUFFIXES = {"_pa": "Pa absolute", "_ma": "mA"}
"""How names end in the files that this program writes."""
_NOT_READINGS = {
    "nominal",
    "ideal",
    "expected",
    "target",
    "wanted",
    "setpoint",
    "error",
}
"""Columns of these words hold what was asked for or worked out."""
_CYCLES = {"cycle", "run"}
_DIRECTIONS = {"direction", "way"}
_RISING = {"up", "rising", "increasing", "u", "+"}
_FALLING = {"down", "falling", "decreasing", "d", "-"}


class Reading(NamedTuple):
    """A row of the table; ``cycle`` and ``rising`` where a column says them."""

    row: int
    current_ma: float
    reading_pa: float
    cycle: str | None
    rising: bool | None


class Readings(NamedTuple):
    """All rows, and what the pressure's unit says of its zero."""

    file: str
    rows: list[Reading]
    unit: PressureUnit


class _Layout(NamedTuple):
    """Where everything stands in a row; a unit beside what has one."""

    separator: str
    width: int
    current: int
    current_unit: str
    pressure: int
    unit: PressureUnit
    cycle: int | None
    direction: int | None


def read_readings(path: Path, basis: Basis) -> Readings:
    """Read a calibration table.

    Headings carry units: "current [mA]", "pressure (psig)", "reading / kPa";
    "cycle" and "direction" (up, down) are optional. Empty rows and rows that
    start with # do not count.

    Parameters
    ----------
    path : Path
    basis : Basis
        The atmosphere of gauge pressures.

    Returns
    -------
    Readings

    Raises
    ------
    InputError
        An empty table, a missing or ambiguous column, or a bad row.

    Notes
    -----
    Source: common practice.
    """
    lines = read_text(path).splitlines()
    kept = [
        (number, line)
        for number, line in enumerate(lines, 1)
        if line.strip(" \t;,") and not line.lstrip().startswith("#")
    ]
    if not kept:
        remedy = "give a header such as 'current [mA];pressure [bar gauge]' and rows"
        raise refusal(str(path), None, "empty table", remedy)
    first, header = kept[0]
    layout = _read_header(header, f"{path}: row {first}")
    if len(kept) == 1:
        raise refusal(str(path), None, "empty table", "give rows below the header")
    cells = csv.reader((line for _, line in kept[1:]), delimiter=layout.separator)
    rows = [
        _read_row(row, number, layout, f"{path}: row {number}", basis)
        for (number, _), row in zip(kept[1:], cells, strict=True)
    ]
    return Readings(str(path), rows, layout.unit)


def _read_header(header: str, where: str) -> _Layout:
    separator = next((mark for mark in ";\t" if mark in header), ",")
    names = [name.strip() for name in next(csv.reader([header], delimiter=separator))]
    parts = [_split_heading(name) for name in names]
    current, current_unit = _find_current(parts, names, where)
    pressure, unit = _find_pressure(parts, names, where)
    return _Layout(
        separator=separator,
        width=len(names),
        current=current,
        current_unit=current_unit,
        pressure=pressure,
        unit=unit,
        cycle=_find_word(names, _CYCLES),
        direction=_find_word(names, _DIRECTIONS),
    )


def _split_heading(written: str) -> tuple[set[str], str]:
    """Split a heading into its words and its unit; it may be a unit alone."""
    for pattern in _UNIT_AT_END:
        found = pattern.fullmatch(written)
        if found:
            own = _OWN_SUFFIXES.get(written.lower()[-3:])
            return _words(found["name"]), own or found["unit"].strip()
    return _words(written), written


def _words(name: str) -> set[str]:
    return set(re.split(r"[\W_]+", name.lower()))


def _find_word(names: list[str], words: set[str]) -> int | None:
    found = [k for k, name in enumerate(names) if _words(name) & words]
    return found[0] if found else None


def _find_current(
    parts: list[tuple[set[str], str]], names: list[str], where: str
) -> tuple[int, str]:
    fitting = [k for k, part in enumerate(parts) if _is_current(part[1])]
    chosen = _only(fitting, parts, names, "current [mA]", where)
    return chosen, parts[chosen][1]


def _is_current(unit: str) -> bool:
    try:
        parse(f"1 {unit}", "current", "")
    except InputError:
        return False
    return True


def _find_pressure(
    parts: list[tuple[set[str], str]], names: list[str], where: str
) -> tuple[int, PressureUnit]:
    units = [pressure_unit(unit) for _, unit in parts]
    fitting = [k for k, unit in enumerate(units) if unit is not None]
    chosen = _only(fitting, parts, names, "pressure [bar gauge]", where)
    unit = units[chosen]
    assert unit is not None
    return chosen, unit


def _only(
    fitting: list[int],
    parts: list[tuple[set[str], str]],
    names: list[str],
    example: str,
    where: str,
) -> int:
    kind = example.split(maxsplit=1)[0]
    fitting = [k for k in fitting if not parts[k][0] & _NOT_READINGS] or fitting
    if len(fitting) == 1:
        return fitting[0]
    if not fitting:
        remedy = f"write the header so: {example!r}"
        titles = ", ".join(names)
        raise refusal(where, titles, f"no column of {kind} with a unit", remedy)
    among = ", ".join(repr(names[k]) for k in fitting)
    why = f"{len(fitting)} columns may be the {kind}: {among}"
    raise refusal(where, None, why, "leave one, or call the others 'nominal ...'")


def _read_row(
    cells: list[str], number: int, layout: _Layout, where: str, basis: Basis
) -> Reading:
    said = layout.separator.join(cells)
    if "".join(cells[layout.width :]).strip():
        why = f"more than the header's {layout.width} cells"
        remedy = "put semicolons between the cells if the decimals have commas"
        raise refusal(where, said, why, remedy)
    cells = cells + [""] * (layout.width - len(cells))
    current = _number(cells[layout.current], "current", layout, where)
    pressure = _number(cells[layout.pressure], "pressure", layout, where)
    unit = layout.unit
    return Reading(
        row=number,
        current_ma=parse(f"{current} {layout.current_unit}", "current", where),
        reading_pa=parse(f"{pressure} {unit.text}", unit.kind, where, basis),
        cycle=None if layout.cycle is None else cells[layout.cycle].strip(),
        rising=_rising(cells, layout, where),
    )


def _number(cell: str, what: str, layout: _Layout, where: str) -> str:
    number = cell.strip()
    if layout.separator != ",":
        number = number.replace(",", ".")
    if not number:
        raise refusal(where, None, f"no {what}", "fill the cell or drop the row")
    try:
        float(number)
    except ValueError:
        why = f"the {what} is not a number"
        raise refusal(
            where, cell, why, "write a number alone; its unit stands above"
        ) from None
    return number


def _rising(cells: list[str], layout: _Layout, where: str) -> bool | None:
    if layout.direction is None:
        return None
    word = cells[layout.direction].strip().lower()
    if word in _RISING | _FALLING:
        return word in _RISING
    raise refusal(where, word, "no direction", "write up or down")
