"""Which column of a logger's record is which.

A unit leaves few roles open: a time, a current or a share, a pressure. Only
among several columns of one kind do the words of their names decide, and where
these do not either, the user is asked.
"""

import re
from typing import NamedTuple

from host_sim.errors import InputError
from host_sim.scenario.refusal import refusal
from host_sim.scenario.units import parse

CLOCK = "date and time"
"""Stands for the unit of a column that holds dates and times."""

_BRACKETS = (r"(.+?)\s*\[(.*)\]", r"(.+?)\s*\((.*)\)", r"(.+?)\s+(?:/|in)\s+(.+)")
_WORD = re.compile(r"[\s_]+")
_UNIT = re.compile(
    r"(?P<unit>[^\s(]+)\s*\(?(?P<reference>gauge|absolute|abs|g|a)?\)?", re.IGNORECASE
)
# Units as loggers write them, in lower case.
_UNITS = {
    "bar": "bar",
    "mbar": "mbar",
    "kpa": "kPa",
    "psi": "psi",
    "psig": "psig",
    "psia": "psia",
    "ma": "mA",
    "sec": "s",
    "percent": "%",
    "pct": "%",
    "-": "dimensionless",
    "1": "dimensionless",
}
_REFERENCES = {"g": "gauge", "a": "absolute", "abs": "absolute"}
# A single letter at the end of a name is a unit of time only if it is one of these.
_TIME_SUFFIXES = {"s", "ms", "us", "min", "h"}
# A pressure "_pa" is absolute here, and in every file that this program writes.
_OWN_SUFFIX = "pa"
_WISHES = {"setpoint", "set", "sp", "command", "target", "wanted", "demand", "asked"}
_WORDS = {
    "time": {"time", "t", "timestamp", "elapsed", "date", "datetime", "clock"},
    "input": _WISHES
    | {"current", "i", "loop", "input", "u", "drive", "valve", "opening", "output"},
    "pressure": {"pressure", "p", "load", "process", "pv", "measured", "actual", "y"},
    "supply": {"supply", "ps", "source", "line", "inlet"},
}
_KINDS = {
    "time": ("time",),
    "input": ("current", "ratio", "pressure"),
    "pressure": ("pressure",),
    "supply": ("pressure",),
}
_EXAMPLES = {
    "time": "time [s]",
    "input": "drive [%]",
    "pressure": "pressure [bar gauge]",
    "supply": "supply [bar gauge]",
}


class Column(NamedTuple):
    """Where a quantity stands in a row, its name and its unit."""

    position: int
    written: str
    words: frozenset[str]
    unit: str

    @property
    def kind(self) -> str:
        """A key of `units.KINDS`, `CLOCK`, or "" where no unit says."""
        return CLOCK if self.unit == CLOCK else _kind(self.unit)


class Columns(NamedTuple):
    """The columns of a record; a supply is not needed."""

    time: Column
    input: Column
    pressure: Column
    supply: Column | None


class Named(NamedTuple):
    """Columns that the user names, "NAME" or "NAME [UNIT]".

    ``None``: to be found.
    """

    time: str | None = None
    input: str | None = None
    pressure: str | None = None


NOTHING_NAMED = Named()


def read_heading(position: int, written: str) -> Column:
    """Split a heading into words and unit.

    Parameters
    ----------
    position : int
    written : str
        Such as "time [s]", "p (bar gauge)", "drive / %", "drive_percent".

    Returns
    -------
    Column
        With the unit "" where none is recognised.

    Notes
    -----
    Source: common practice of data loggers.

    Examples
    --------
    >>> read_heading(0, "load_pa").unit, read_heading(1, "p (bar gauge)").unit
    ('Pa absolute', 'bar gauge')
    """
    written = written.strip()
    for pattern in _BRACKETS:
        found = re.fullmatch(pattern, written)
        if found:
            return Column(position, written, _words(found[1]), _unit(found[2]))
    parts = [part for part in _WORD.split(written) if part]
    for count in (2, 1):
        unit = _suffix(parts[-count:])
        if len(parts) > count and unit:
            words = _words(" ".join(parts[:-count]))
            return Column(position, written, words, unit)
    return Column(position, written, _words(written), "")


def _unit(text: str) -> str:
    """Write a logger's unit as `units.parse` reads it."""
    found = _UNIT.fullmatch(text.strip())
    if not found:
        return text.strip()
    unit = _UNITS.get(found["unit"].lower(), found["unit"])
    reference = (found["reference"] or "").lower()
    return f"{unit} {_REFERENCES.get(reference, reference)}".strip()


def _suffix(parts: list[str]) -> str:
    """Find the unit at the end of a name, or "" if there is none."""
    if len(parts) == 1 and parts[0].lower() == _OWN_SUFFIX:
        return "Pa absolute"
    if not (parts[0][0].isalpha() or parts[0][0] == "%"):
        # "valve 2" is the second valve.
        return ""
    unit = _unit(" ".join(parts))
    kind = _kind(unit)
    return unit if kind and (kind != "time" or unit in _TIME_SUFFIXES) else ""


def _words(name: str) -> frozenset[str]:
    """Words of a name in lower case; "p_set2" has p, set2 and set."""
    parts = [part for part in re.split(r"[^\w%]+|_", name.lower()) if part]
    return frozenset(parts) | {part.rstrip("0123456789") for part in parts}


def _kind(unit: str) -> str:
    if not unit:
        return ""
    for kind in ("time", "current", "pressure", "ratio", "pressure difference"):
        try:
            parse(f"1 {unit}", kind, "")
        except InputError:
            continue
        return kind
    return ""


def choose_columns(columns: list[Column], named: Named, where: str) -> Columns:
    """Give each role its column.

    Parameters
    ----------
    columns : list of Column
        All of a record.
    named : Named
        What the user says of them.
    where : str
        File and row of the header, for the error.

    Returns
    -------
    Columns

    Raises
    ------
    InputError
        A role that no column or more than one fits, or a unit that does not fit.
    """
    chosen: dict[str, Column | None] = {}
    for role in ("time", "input", "pressure", "supply"):
        wanted = getattr(named, role, None)
        if wanted is not None:
            chosen[role] = _named(columns, role, wanted, where)
        else:
            taken = [column for column in chosen.values() if column]
            chosen[role] = _found(columns, role, taken, where)
    return Columns(**chosen)  # type: ignore[arg-type]


def _named(columns: list[Column], role: str, wanted: str, where: str) -> Column:
    place = f"{where}, --{role}"
    for column in columns:
        if wanted.strip().lower() == column.written.lower():
            return _checked(column, role, place)
    asked = read_heading(0, wanted)
    for column in columns:
        if asked.words == column.words:
            unit = asked.unit or column.unit
            return _checked(column._replace(unit=unit), role, place)
    names = ", ".join(repr(column.written) for column in columns)
    raise refusal(place, wanted, "no such column", f"name one of {names}")


def _checked(column: Column, role: str, where: str) -> Column:
    """Refuse a column whose unit does not fit its role."""
    example = _EXAMPLES[role]
    if column.kind in _KINDS[role] or (role == "time" and column.kind in ("", CLOCK)):
        return column
    if column.kind == "pressure difference":
        unit = column.unit
        why = f"{unit!r} is neither gauge nor absolute"
        remedy = f"write --{role} '{_bare(column)} [{unit} gauge]' or '... absolute]'"
        raise refusal(where, column.written, why, remedy)
    why = f"its unit is missing or does not fit the {role}"
    remedy = f"write the header so: {example!r}, or --{role} '{_bare(column)} [UNIT]'"
    raise refusal(where, column.written, why, remedy)


def _bare(column: Column) -> str:
    return re.split(r"\s*[\[(/]", column.written)[0]


def _found(
    columns: list[Column], role: str, taken: list[Column], where: str
) -> Column | None:
    fitting = [c for c in columns if c not in taken and _fits(c, role)]
    if len(fitting) > 1:
        by_name = [c for c in fitting if c.words & _WORDS[role]]
        fitting = by_name or fitting
    if len(fitting) == 1:
        return _checked(fitting[0], role, where)
    if role == "supply" and not fitting:
        return None
    if not fitting:
        titles = ", ".join(column.written for column in columns)
        remedy = f"write the header so: {_EXAMPLES[role]!r}, or name it with --{role}"
        why = f"no column of {role} with a unit"
        raise refusal(where, titles, why, remedy)
    names = ", ".join(repr(column.written) for column in fitting)
    if role == "supply":
        return None
    why = f"{len(fitting)} columns may be the {role}: {names}"
    raise refusal(where, None, why, f"name one with --{role}")


def may_be_time(column: Column) -> bool:
    """Tell whether a column may be the time: by unit, else by name."""
    if not column.unit:
        return bool(column.words & _WORDS["time"])
    return column.kind == "time"


def _fits(column: Column, role: str) -> bool:
    """Tell whether unit and name leave a role open to a column."""
    if role == "time":
        return may_be_time(column)
    if column.kind in ("pressure", "pressure difference"):
        if column.words & _WISHES:
            return role == "input"
        is_supply = bool(column.words & _WORDS["supply"])
        return role == "supply" if is_supply else role == "pressure"
    return role == "input" and column.kind in _KINDS["input"]
