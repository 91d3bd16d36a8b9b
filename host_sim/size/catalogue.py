"""A catalogue of controllers, read from a CSV file row by row.

A row that cannot be read is named and left out; the rest goes on.
"""

import csv
import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

from host_sim.errors import InputError
from host_sim.plant.settings import Air
from host_sim.scenario.keys_wanted import MEDIA
from host_sim.scenario.recording import read_text
from host_sim.scenario.refusal import refusal
from host_sim.scenario.units import Basis, parse
from host_sim.size.capacity_text import read_capacity
from host_sim.size.flow_units import Capacity
from host_sim.size.seals import SEALS, Seal

COLUMNS = {
    "name": "what the unit is called; each name once",
    "fill": "forward capacity: '4 dm3/(s.bar) b 0.3', 'Cv 1.2', 'Kv 1.0 xT 0.7' or "
    "'600 l/min ANR at 7 bar gauge to 6 bar gauge'",
    "exhaust": "capacity of the exhaust, written likewise",
    "ports": "threads, one of which may be asked for: 'G 1/4 or G 3/8'",
    "ranges": "controlled pressure: '0 ... 2 bar gauge or 0 ... 6 bar gauge'",
    "supply_limit": "highest supply pressure: '10 bar gauge'",
    "seal": "seal material: " + ", ".join(SEALS),
    "temperature": "limits, '-10 ... 60 degC'; empty: the seal's usual ones",
    "media": "of '" + " or ".join(MEDIA) + "'; empty: the seal's usual ones",
    "price": "a number; the currency stands in the heading, 'price [EUR]'",
}
"""Every column, in any order; temperature and media may be left out."""
MAY_BE_MISSING = ("temperature", "media")

_PRICE = re.compile(r"price(?:\s*\[\s*(?P<currency>[^\]]*?)\s*\])?")
_RANGE = re.compile(r"\s*(?P<low>\S+)\s*\.\.\.\s*(?P<high>\S+)\s+(?P<unit>.+?)\s*")


@dataclass(frozen=True)
class Unit:
    """One controller of a catalogue; pressures are absolute.

    ``row`` is its line in the file.
    """

    row: int
    name: str
    fill: Capacity
    exhaust: Capacity
    ports: tuple[str, ...]
    ranges_pa: tuple[tuple[float, float], ...]
    supply_limit_pa: float
    seal: str
    temperature_k: tuple[float, float]
    media: tuple[str, ...]
    price: float


@dataclass(frozen=True)
class Catalogue:
    """The units that could be read, and a line for each other row."""

    units: tuple[Unit, ...]
    unreadable: tuple[str, ...]
    currency: str


class _Reader(NamedTuple):
    """What the cells of one row stand on."""

    path: Path
    air: Air
    basis: Basis


def read_catalogue(path: Path, air: Air, basis: Basis) -> Catalogue:
    """Read a catalogue of controllers.

    Lines that begin with # are comments; comma, semicolon or tab separates.

    Parameters
    ----------
    path : Path
        The CSV file; its columns are those of `COLUMNS`.
    air : Air
        The gas that Cv and flows are turned into C for.
    basis : Basis
        What gauge pressures and flows stand on.

    Returns
    -------
    Catalogue

    Raises
    ------
    InputError
        No file, no header, an unknown or missing column, or no row that can be
        read.

    Notes
    -----
    Source: this project's own format.
    """
    lines = [
        (number, line)
        for number, line in enumerate(read_text(path).splitlines(), start=1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if not lines:
        raise refusal(str(path), None, "no header", "begin with " + ",".join(COLUMNS))
    separator = next((mark for mark in ";\t" if mark in lines[0][1]), ",")
    # Line by line, so that one open quote cannot swallow the rows below it.
    rows = [
        (number, next(csv.reader([line], delimiter=separator)))
        for number, line in lines
    ]
    heading, currency = _heading(rows[0][1], f"{path}: row {rows[0][0]}")
    reader, names = _Reader(path, air, basis), set[str]()
    units: list[Unit] = []
    unreadable: list[str] = []
    for number, cells in rows[1:]:
        try:
            unit = _unit(reader, number, _named(cells, heading, path, number))
            _refuse_known(unit, names, path)
        except InputError as error:
            unreadable.append(str(error))
        else:
            units.append(unit)
    if not units:
        why = "no row that can be read" + "".join(f"; {line}" for line in unreadable)
        raise refusal(str(path), None, why, "see the shipped catalogue.csv")
    return Catalogue(tuple(units), tuple(unreadable), currency)


def _heading(cells: list[str], where: str) -> tuple[list[str], str]:
    names, currency = [], ""
    for cell in cells:
        name = cell.strip().lower()
        if found := _PRICE.fullmatch(cell.strip()):
            name, currency = "price", found["currency"] or ""
        if name not in COLUMNS or name in names:
            why = "named twice" if name in names else "unknown column"
            raise refusal(where, cell, why, "the columns are " + ", ".join(COLUMNS))
        names.append(name)
    for name, meaning in COLUMNS.items():
        if name not in names and name not in MAY_BE_MISSING:
            raise refusal(where, None, f"no column {name!r}", f"add it: {meaning}")
    return names, currency


def _named(
    cells: list[str], heading: list[str], path: Path, number: int
) -> dict[str, str]:
    if len(cells) != len(heading):
        why = f"{len(cells)} cells under {len(heading)} columns"
        remedy = "put a cell that holds the separator in quotes"
        raise refusal(f"{path}: row {number}", None, why, remedy)
    return dict(zip(heading, (cell.strip() for cell in cells), strict=True))


def _refuse_known(unit: Unit, names: set[str], path: Path) -> None:
    if unit.name in names:
        where = f"{path}: row {unit.row}, name"
        raise refusal(where, unit.name, "stands above already", "rename one of them")
    names.add(unit.name)


def _unit(reader: _Reader, row: int, cells: dict[str, str]) -> Unit:
    path, air, basis = reader

    def where(column: str) -> str:
        return f"{path}: row {row}, {column}"

    def filled(column: str) -> str:
        if cells[column]:
            return cells[column]
        raise refusal(where(column), None, "empty", f"write {COLUMNS[column]}")

    seal = _seal(filled("seal"), where("seal"))
    return Unit(
        row=row,
        name=filled("name"),
        fill=read_capacity(filled("fill"), air, basis, where("fill")),
        exhaust=read_capacity(filled("exhaust"), air, basis, where("exhaust")),
        ports=_alternatives(filled("ports")),
        ranges_pa=tuple(
            _range(text, "pressure", where("ranges"), basis)
            for text in _alternatives(filled("ranges"))
        ),
        supply_limit_pa=parse(
            filled("supply_limit"), "pressure", where("supply_limit"), basis
        ),
        seal=cells["seal"],
        temperature_k=_temperature(cells.get("temperature", ""), seal, where),
        media=_media(cells.get("media", ""), seal, where("media")),
        price=_price(filled("price"), where("price")),
    )


def _alternatives(text: str) -> tuple[str, ...]:
    return tuple(part.strip() for part in text.split(" or "))


def _seal(text: str, where: str) -> Seal:
    if text in SEALS:
        return SEALS[text]
    raise refusal(where, text, "unknown seal", "write one of " + ", ".join(SEALS))


def _temperature(
    text: str, seal: Seal, where: Callable[[str], str]
) -> tuple[float, float]:
    if not text:
        return seal.temperature_k
    return _range(text, "temperature", where("temperature"), Basis())


def _media(text: str, seal: Seal, where: str) -> tuple[str, ...]:
    if not text:
        return seal.media
    media = _alternatives(text)
    for medium in media:
        if medium not in MEDIA:
            remedy = "write one or more of " + " or ".join(MEDIA)
            raise refusal(where, medium, "unknown medium", remedy)
    return media


def _range(text: str, kind: str, where: str, basis: Basis) -> tuple[float, float]:
    found = _RANGE.fullmatch(text)
    if not found:
        example = COLUMNS["ranges" if kind == "pressure" else "temperature"]
        raise refusal(where, text, "not a range", f"write {example}")
    low, high = (
        parse(f"{found[end]} {found['unit']}", kind, where, basis)
        for end in ("low", "high")
    )
    if low >= high:
        raise refusal(where, text, "its end is not above its start", "exchange them")
    return low, high


def _price(text: str, where: str) -> float:
    remedy = "write digits alone; the currency stands in the heading"
    try:
        price = float(text)
    except ValueError:
        raise refusal(where, text, "not a number", remedy) from None
    if not math.isfinite(price):
        raise refusal(where, text, "not a finite number", remedy)
    if price < 0.0:
        raise refusal(where, text, "negative price", "write a price of 0 or more")
    return price
