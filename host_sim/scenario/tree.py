"""A parsed TOML file held against the schema: names, kinds, ranges, defaults."""

import difflib
from collections.abc import Iterator
from dataclasses import replace
from typing import Any, cast

from host_sim.scenario.conversion import UnfitUnitError
from host_sim.scenario.keys import ONE_OF, TABLES
from host_sim.scenario.reading import example, read_key
from host_sim.scenario.reference import state_density_kg_m3
from host_sim.scenario.refusal import refusal
from host_sim.scenario.schema import (
    REQUIRED,
    Key,
    OneOf,
    Same,
    Table,
    join,
)
from host_sim.scenario.units import STANDARD, Basis


class Tree:
    """The keys of one file in SI units, looked up by their full path.

    Parameters
    ----------
    document : dict
        What the TOML library made of the file.
    file : str
        The file's name, for errors.

    Raises
    ------
    InputError
        Any key that is unknown, missing, of the wrong kind or out of range.
    """

    def __init__(self, document: dict[str, Any], file: str) -> None:
        self.file = file
        self.basis: Basis = STANDARD
        self._given = dict(_flatten(document))
        self._values: dict[str, Any] = {}
        names = tuple(_chosen_names(document))
        tables = tuple(_expand(names))
        self._refuse_unknown(document, "", tables)
        self.tables = frozenset(self._read_tables(tables))
        self._check_groups(names)

    def where(self, path: str) -> str:
        """Name a key for an error: file and key path."""
        return f"{self.file}: {path}"

    def has(self, table: str) -> bool:
        """Tell whether an optional table stands in the file."""
        return table in self.tables

    def number(self, path: str) -> float:
        """Return a quantity in its SI unit."""
        return float(self._values[path])

    def number_or(self, path: str, otherwise: float) -> float:
        """Return a quantity, or another when it is "none" or missing."""
        value = self._values[path]
        return otherwise if value is None else float(value)

    def optional(self, path: str) -> float | None:
        """Return a quantity, or ``None`` when it is "none" or missing."""
        value = self._values[path]
        return None if value is None else float(value)

    def whole(self, path: str) -> int:
        """Return a whole number."""
        return int(self._values[path])

    def text(self, path: str) -> str:
        """Return a text or a word; empty when missing."""
        return str(self._values[path] or "")

    def flag(self, path: str) -> bool:
        """Return true or false."""
        return bool(self._values[path])

    def pairs(self, path: str) -> tuple[tuple[float, float], ...]:
        """Return a list of pairs in SI units; empty when missing."""
        return tuple(self._values[path] or ())

    def given(self, path: str) -> bool:
        """Tell whether the file itself holds the key or table."""
        return path in self._given

    def said(self, path: str) -> object:
        """Return a key as it was written, for an error."""
        return self._given.get(path)

    def names(self, path: str) -> tuple[str, ...]:
        """Return the names that the user chose below a table."""
        chosen = self._given.get(path, {})
        return tuple(cast("dict[str, Any]", chosen))

    def _refuse_unknown(
        self, document: dict[str, Any], path: str, tables: tuple[Table, ...]
    ) -> None:
        keys = {join(table.path, key.name) for table in tables for key in table.keys}
        rooms = {
            prefix
            for table in (*tables, *TABLES)
            for prefix in _prefixes(table.path)
            if "*" not in prefix
        }
        for name, said in document.items():
            full = join(path, name)
            if full in rooms:
                if not isinstance(said, dict):
                    remedy = f"write [{full}] and its keys below"
                    raise refusal(self.where(full), said, "should be a table", remedy)
                self._refuse_unknown(said, full, tables)
            elif full not in keys:
                raise refusal(self.where(full), None, *_nearest(full, keys | rooms))

    def _read_tables(self, tables: tuple[Table, ...]) -> Iterator[str]:
        present = {""}
        for table in tables:
            if self._stands(table, present):
                present.add(table.path)
                for key in table.keys:
                    path = join(table.path, key.name)
                    self._values[path] = self._read_key(key, path)
                self._learn(table.path)
                yield table.path

    def _stands(self, table: Table, present: set[str]) -> bool:
        arrangement = self._values.get("plant.arrangement")
        if table.arrangement and table.arrangement != arrangement:
            if self.given(table.path):
                why = f"belongs to arrangement {table.arrangement!r}"
                remedy = f"remove it, or set plant.arrangement = {table.arrangement!r}"
                raise refusal(self.where(table.path), None, why, remedy)
            return False
        optional_above = {
            other.path
            for other in TABLES
            if other.optional and table.path.startswith(other.path + ".")
        }
        if not optional_above <= present:
            return False
        return not table.optional or self.given(table.path)

    def _learn(self, path: str) -> None:
        if path == "air":
            self.basis = Basis(
                self.number("air.atmosphere"),
                self.number("air.reference_density"),
                self._scfm_density(),
            )
        elif path == "range":
            span_pa = self.number("range.high") - self.number("range.low")
            if span_pa <= 0.0:
                said = self.said("range.high")
                why, remedy = "not above range.low", "raise range.high"
                raise refusal(self.where("range.high"), said, why, remedy)
            self.basis = replace(self.basis, span_pa=span_pa)

    def _scfm_density(self) -> float | None:
        said = self.text("air.scfm_reference")
        if not said:
            return None
        try:
            return state_density_kg_m3(said)
        except UnfitUnitError as error:
            where = self.where("air.scfm_reference")
            raise refusal(where, said, error.why, error.remedy) from None

    def _check_groups(self, names: tuple[str, ...]) -> None:
        for group in ONE_OF:
            if group.paths[0].startswith("gain_sets."):
                for name in names:
                    paths = tuple(path.replace("*", name) for path in group.paths)
                    self._check_group(group._replace(paths=paths))
            elif not group.paths[0].startswith("pilot.") or self.has("booster"):
                self._check_group(group)

    def _check_group(self, group: OneOf) -> None:
        given = [path for path in group.paths if self.given(path)]
        if len(given) > 1:
            why = f"given beside {given[0]}"
            raise refusal(self.where(given[1]), None, why, "keep one of them")
        if group.needed and not given:
            why = f"missing, and {group.paths[1]} too"
            remedy = f"write one of them: {group.meaning}"
            raise refusal(self.where(group.paths[0]), None, why, remedy)

    def _read_key(self, key: Key, path: str) -> object:
        where = self.where(path)
        if path in self._given:
            return read_key(key, self._given[path], where, self.basis)
        if isinstance(key.default, Same):
            return self._values[key.default.path]
        if key.default == REQUIRED:
            raise refusal(where, None, "missing", f"write {key.name} = {example(key)}")
        if key.default is None:
            return None
        return read_key(key, key.default, where, self.basis)


def _flatten(document: dict[str, Any], path: str = "") -> Iterator[tuple[str, Any]]:
    for name, said in document.items():
        full = join(path, name)
        yield full, said
        if isinstance(said, dict):
            yield from _flatten(said, full)


def _chosen_names(document: dict[str, Any]) -> tuple[str, ...]:
    chosen = document.get("gain_sets", {})
    return tuple(chosen) if isinstance(chosen, dict) else ()


def _expand(names: tuple[str, ...]) -> Iterator[Table]:
    for table in TABLES:
        if "*" in table.path:
            for name in names:
                yield replace(table, path=table.path.replace("*", name))
        else:
            yield table


def _prefixes(path: str) -> list[str]:
    parts = path.split(".")
    return (
        [".".join(parts[:count]) for count in range(1, len(parts) + 1)] if path else []
    )


def _nearest(full: str, known: set[str]) -> tuple[str, str]:
    path, _, name = full.rpartition(".")
    names_here = {
        other.rpartition(".")[2]: other
        for other in sorted(known)
        if other.rpartition(".")[0] == path
    }
    names_anywhere = {other.rpartition(".")[2]: other for other in sorted(known)}
    for names in (names_here, names_anywhere):
        if close := difflib.get_close_matches(name, names, 1, 0.7):
            return "unknown key", f"did you mean {names[close[0]]!r}?"
    return "unknown key", f"the keys here are {', '.join(sorted(names_here))}"
