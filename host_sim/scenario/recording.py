"""A command recorded by a logger: a CSV file of time and current.

The `csv` module reads the rows. Its sniffer is not used: it guesses by
frequency and takes decimal commas for separators, while the separator stands
plainly in the header.
"""

import csv
import itertools
import math
import re
import statistics
from collections.abc import Iterable, Iterator
from datetime import datetime
from pathlib import Path
from typing import NamedTuple

from host_sim.scenario.profile import Profile
from host_sim.scenario.refusal import refusal
from host_sim.scenario.units import parse

# A hole of more than so many usual intervals is a gap and not jitter.
GAP_INTERVALS = 5.0
MAXIMUM_MA = 25.0

_HEADING = re.compile(
    r"\s*(?P<name>.+?)\s*(?:[\[(]\s*(?P<unit>[^\])]*?)\s*[\])]"
    r"|[_ /](?P<suffix>s|sec|ms|us|µs|min|h|mA|A))?\s*"
)
_TIMES = ("time", "t", "timestamp", "elapsed", "date time", "datetime", "date")
_CURRENTS = ("current", "i", "command", "loop", "loop current", "input", "setpoint")


class Column(NamedTuple):
    """Where a quantity stands in a row, and its unit ("" for date and time)."""

    position: int
    kind: str
    unit: str


class Layout(NamedTuple):
    """What the header tells of the rows below it."""

    separator: str
    cells: int
    time: Column
    current: Column


def read_recording(path: Path) -> Profile:
    """Read a logger's CSV file of time and current.

    The header names the columns with their units: "time [s]", "t (ms)",
    "current_mA". Comma, semicolon or tab between columns; decimal commas
    unless the comma separates; date and time of ISO 8601 will do for the time.
    The first row becomes 0 s.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    Profile
        Times from 0 [s] and currents [mA], with notes on rate and gaps.

    Raises
    ------
    InputError
        Missing or empty file, unknown header, or a bad row, named by number.

    Notes
    -----
    Source: common practice of data loggers.
    """
    lines = read_text(path).splitlines()
    filled = [line for line in lines if line.strip()]
    if not filled:
        raise refusal(str(path), None, "empty file", "give a header and rows")
    separator = next((mark for mark in ";\t" if mark in filled[0]), ",")
    first = lines.index(filled[0])
    rows = _split(lines[first:], separator, path)
    heading = rows[0]
    where = f"{path}: row {first + 1}"
    time = _find(heading, _TIMES, "time", where)
    current = _find(heading, _CURRENTS, "current", where)
    layout = Layout(separator, len(heading), time, current)
    points = list(_points(enumerate(rows[1:], first + 2), path, layout))
    if not points:
        raise refusal(str(path), None, "no row below the header", "give rows")
    start_s = points[0][0]
    times_s = tuple(time_s - start_s for time_s, _ in points)
    return Profile(times_s, tuple(ma for _, ma in points), _notes(times_s, start_s))


def read_text(path: Path) -> str:
    """Read a text file, or say why it cannot be read.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    str
        Its text, without a byte-order mark.

    Raises
    ------
    InputError
        No such file, a folder, no permission, or not UTF-8.

    Notes
    -----
    Source: common practice.
    """
    try:
        return path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        why, remedy = "no such file", "check the name and the folder"
    except UnicodeDecodeError as error:
        why, remedy = f"not UTF-8 text at byte {error.start}", "save it as UTF-8"
    except OSError as error:
        why, remedy = f"cannot be read ({error.strerror})", "give a readable file"
    raise refusal(str(path), None, why, remedy)


def _split(lines: list[str], separator: str, path: Path) -> list[list[str]]:
    try:
        return list(csv.reader(lines, delimiter=separator))
    except csv.Error as error:
        raise refusal(str(path), None, f"not CSV ({error})", "save it anew") from None


def _find(row: list[str], names: tuple[str, ...], kind: str, where: str) -> Column:
    example = "time [s]" if kind == "time" else "current [mA]"
    for position, heading in enumerate(row):
        found = _HEADING.fullmatch(heading)
        if not found or found["name"].replace("_", " ").lower() not in names:
            continue
        unit = found["unit"] or found["suffix"] or ""
        if not unit and kind == "current":
            remedy = f"write the unit into the header: {example!r}"
            raise refusal(where, heading, "no unit", remedy)
        if unit:
            parse(f"1 {unit}", kind, f"{where}, {heading!r}")
        return Column(position, kind, unit)
    remedy = f"name one {example!r}"
    raise refusal(where, ", ".join(row), f"no column of {kind}", remedy)


def _points(
    rows: Iterable[tuple[int, list[str]]], path: Path, layout: Layout
) -> Iterator[tuple[float, float]]:
    before_s = -math.inf
    for number, row in rows:
        where = f"{path}: row {number}"
        if not "".join(row).strip():
            continue
        _check_length(row, layout, where)
        time_s = _time_s(row, layout, where)
        current_ma = _cell(row, layout.current, layout, where)
        if time_s <= before_s:
            said = row[layout.time.position]
            why = "time is not after the row before"
            raise refusal(where, said, why, "sort the rows, each time once")
        if not 0.0 <= current_ma <= MAXIMUM_MA:
            said = row[layout.current.position]
            why = f"outside the allowed range 0 ... {MAXIMUM_MA:g} mA"
            raise refusal(where, said, why, "check the unit in the header")
        before_s = time_s
        yield time_s, current_ma


def _check_length(row: list[str], layout: Layout, where: str) -> None:
    said = layout.separator.join(row)
    if len(row) <= max(layout.time.position, layout.current.position):
        raise refusal(where, said, "too short", "complete the row")
    # A logger may end its rows, but not its header, with a separator.
    if "".join(row[layout.cells :]).strip():
        why = f"more than the header's {layout.cells} cells"
        remedy = "put semicolons between the cells if the decimals have commas"
        raise refusal(where, said, why, remedy)


def _cell(row: list[str], column: Column, layout: Layout, where: str) -> float:
    number = row[column.position].strip()
    if layout.separator != ",":
        number = number.replace(",", ".")
    if not number:
        why, remedy = f"no {column.kind}", "fill the cell or drop the row"
        raise refusal(where, None, why, remedy)
    return parse(f"{number} {column.unit}", column.kind, f"{where}, {column.kind}")


def _time_s(row: list[str], layout: Layout, where: str) -> float:
    if layout.time.unit:
        return _cell(row, layout.time, layout, where)
    said = row[layout.time.position].strip()
    try:
        moment = datetime.fromisoformat(said.replace(",", "."))
    except ValueError:
        why = "neither a unit in the header nor a date and time"
        raise refusal(where, said, why, "name the column 'time [s]'") from None
    # The logger's clock, whatever its zone: only differences count.
    return (moment.replace(tzinfo=None) - datetime(1970, 1, 1)).total_seconds()


def _notes(times_s: tuple[float, ...], start_s: float) -> tuple[str, ...]:
    notes = [f"{len(times_s)} rows; the first, at {start_s:.6g} s, counts as 0 s"]
    intervals_s = [after - now for now, after in itertools.pairwise(times_s)]
    if not intervals_s:
        return tuple(notes)
    usual_s = statistics.median(intervals_s)
    gaps = [
        (now, interval_s)
        for now, interval_s in zip(times_s, intervals_s, strict=False)
        if interval_s > GAP_INTERVALS * usual_s
    ]
    even_s = [
        interval_s
        for interval_s in intervals_s
        if interval_s <= GAP_INTERVALS * usual_s
    ]
    jitter_s = max(abs(interval_s - usual_s) for interval_s in even_s)
    notes.append(f"an interval of {usual_s:.4g} s, off by up to {jitter_s:.2g} s")
    notes += [
        f"gap of {gap_s:.4g} s from {now_s:.4g} s on: the last current is held"
        for now_s, gap_s in gaps
    ]
    return tuple(notes)
