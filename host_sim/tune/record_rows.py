"""The rows of a logger's record, made into numbers."""

import csv
import math
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import NamedTuple

from host_sim.scenario.recording import read_text
from host_sim.scenario.refusal import refusal
from host_sim.scenario.units import Basis, parse
from host_sim.tune.record_columns import (
    CLOCK,
    Column,
    Columns,
    Named,
    choose_columns,
    may_be_time,
    read_heading,
)

_EMPTY = {"", "nan", "null", "-", "n/a", "#n/a"}
_CLOCKS = ("%d.%m.%Y %H:%M:%S", "%d.%m.%Y %H:%M:%S.%f", "%H:%M:%S", "%H:%M:%S.%f")


class Row(NamedTuple):
    """One row in SI units, the input in that of its kind."""

    time_s: float
    input: float
    pressure_pa: float
    supply_pa: float


class Rows(NamedTuple):
    """All rows, their columns, and how many had an empty cell."""

    columns: Columns
    rows: list[Row]
    dropped: int


def read_rows(path: Path, named: Named, basis: Basis) -> Rows:
    """Read the rows of a record.

    Lines above the header are a logger's remarks. A second row of words holds
    the units. Decimal commas will do wherever a comma does not separate.

    Parameters
    ----------
    path : Path
    named : Named
        Columns that the user names.
    basis : Basis
        The atmosphere of gauge pressures.

    Returns
    -------
    Rows

    Raises
    ------
    InputError
        A file that is none, columns that are missing or ambiguous, a bad row.

    Notes
    -----
    Source: common practice of data loggers.
    """
    lines = read_text(path).splitlines()
    first, separator = _header_line(lines, path)
    try:
        table = list(csv.reader(lines[first:], delimiter=separator))
    except csv.Error as error:
        raise refusal(str(path), None, f"not CSV ({error})", "save it anew") from None
    where = f"{path}: row {first + 1}"
    headings = [read_heading(k, cell) for k, cell in enumerate(table[0])]
    below = 1
    if len(table) > 1 and _is_unit_row(table[1]):
        headings = [_with_unit(h, table[1]) for h in headings]
        below = 2
    columns = choose_columns(headings, named, where)
    columns = _with_clock(columns, table[below:])
    reader = _Reader(path, columns, basis, len(table[0]))
    rows = [
        row
        for number, cells in enumerate(table[below:], first + below + 1)
        if "".join(cells).strip() and (row := reader.read(cells, number))
    ]
    return Rows(columns, rows, reader.dropped)


def _header_line(lines: list[str], path: Path) -> tuple[int, str]:
    """Find the first line with a time among three cells or more."""
    likely = None
    for number, line in enumerate(lines):
        separator = next((mark for mark in ";\t" if mark in line), ",")
        cells = line.split(separator)
        if line.startswith("#") or len(cells) < 2:
            continue
        if len(cells) > 2 and any(may_be_time(read_heading(0, c)) for c in cells):
            return number, separator
        likely = likely or (number, separator)
    if likely:
        return likely
    why = "no line of two columns or more"
    remedy = "give a header such as 'time [s];drive [%];pressure [bar gauge]'"
    raise refusal(str(path), None, why, remedy)


def _is_unit_row(cells: list[str]) -> bool:
    """Tell whether a row holds words only."""
    filled = [cell.strip() for cell in cells if cell.strip()]
    return bool(filled) and not any(cell[0] in "+-.0123456789" for cell in filled)


def _with_unit(heading: Column, units: list[str]) -> Column:
    unit = units[heading.position] if heading.position < len(units) else ""
    unit = unit.strip().strip("[]")
    if heading.unit or not unit:
        return heading
    return read_heading(heading.position, f"{heading.written} [{unit}]")


def _with_clock(columns: Columns, table: list[list[str]]) -> Columns:
    """Take a time without a unit for dates, if its first cell is one."""
    column = columns.time
    cells = next((cells for cells in table if "".join(cells).strip()), [])
    cell = cells[column.position] if column.position < len(cells) else ""
    if column.unit or _moment(cell) is None:
        return columns
    return columns._replace(time=column._replace(unit=CLOCK))


def _moment(cell: str) -> datetime | None:
    said = cell.strip().replace(",", ".")
    # A bare "20240301" is a date to the library, but a number to a logger.
    if not any(mark in said for mark in "-:"):
        return None
    try:
        return datetime.fromisoformat(said).replace(tzinfo=None)
    except ValueError:
        pass
    for form in _CLOCKS:
        try:
            return datetime.strptime(said, form)
        except ValueError:
            continue
    return None


class _Scale(NamedTuple):
    """What a column's unit means: ``factor x + offset``, and its lowest."""

    factor: float
    offset: float
    lowest: float


class _Reader:
    """Reads rows and holds each against the one before."""

    def __init__(self, path: Path, columns: Columns, basis: Basis, cells: int) -> None:
        self._path = path
        self._columns = columns
        self._cells = cells
        self._before_s = -math.inf
        self._scales = {
            column: _scale(column, basis) for column in columns if column is not None
        }
        self._start: datetime | None = None
        self.dropped = 0

    def read(self, cells: list[str], number: int) -> Row | None:
        """Read a row; None, and counted, if a cell of it is empty."""
        where = f"{self._path}: row {number}"
        if "".join(cells[self._cells :]).strip():
            why = f"more than the header's {self._cells} cells"
            remedy = "put semicolons between the cells if the decimals have commas"
            raise refusal(where, ", ".join(cells), why, remedy)
        used = [column for column in self._columns if column is not None]
        said = [c.position < len(cells) and cells[c.position].strip() for c in used]
        if any(not cell or cell.lower() in _EMPTY for cell in said):
            self.dropped += 1
            return None
        numbers = list(self._numbers(cells, where))
        if numbers[0] <= self._before_s:
            why = "time is not after the row before"
            remedy = "sort the rows, each time once"
            raise refusal(where, cells[self._columns.time.position], why, remedy)
        self._before_s = numbers[0]
        return Row(*numbers)

    def _numbers(self, cells: list[str], where: str) -> Iterator[float]:
        for column in self._columns:
            if column is None:
                yield math.nan
            elif column.unit in (CLOCK, ""):
                yield self._clock_s(cells[column.position], where)
            else:
                yield self._number(cells[column.position], column, where)

    def _number(self, cell: str, column: Column, where: str) -> float:
        scale = self._scales[column]
        try:
            number = scale.factor * float(cell.replace(",", ".")) + scale.offset
        except ValueError:
            number = math.nan
        if not math.isfinite(number):
            why, remedy = "not a finite number", "mend the cell or drop the row"
            raise refusal(f"{where}, {column.written}", cell, why, remedy)
        if number < scale.lowest:
            why, remedy = "below vacuum", "check gauge or absolute in the header"
            raise refusal(f"{where}, {column.written}", cell, why, remedy)
        return number

    def _clock_s(self, cell: str, where: str) -> float:
        moment = _moment(cell)
        if moment is None:
            why = "neither a unit in the header nor a date and time"
            remedy = "name the column 'time [s]', or write --time 'NAME [s]'"
            raise refusal(where, cell, why, remedy)
        # The logger's clock, whatever its zone: only differences count.
        self._start = self._start or moment
        return (moment - self._start).total_seconds()


def _scale(column: Column, basis: Basis) -> _Scale:
    """Find out once what a column's unit means."""
    if column.unit in (CLOCK, ""):
        return _Scale(1.0, 0.0, -math.inf)
    offset = parse(f"0 {column.unit}", column.kind, column.written, basis)
    factor = parse(f"1 {column.unit}", column.kind, column.written, basis) - offset
    return _Scale(factor, offset, 0.0 if column.kind == "pressure" else -math.inf)
