"""The assumptions file: what a second, a kilogram and a cycle are worth."""

import difflib
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

from host_sim.errors import InputError
from host_sim.scenario.conversion import UnfitUnitError, plain_unit
from host_sim.scenario.recording import read_text
from host_sim.scenario.refusal import refusal
from host_sim.scenario.units import STANDARD, Basis, parse
from host_sim.size.savings_range import Range
from host_sim.size.savings_units import (
    Scale,
    air_mass,
    money,
    per,
    plain,
    read_range,
)

STEP_TIMES = {
    "tolerance": "settling_band_s",
    "settling 5 %": "settling_5_s",
    "settling 2 %": "settling_2_s",
    "settling 1 %": "settling_1_s",
    "t50": "t50_s",
    "rise": "rise_time_s",
}
"""Word for the time that counts, to its name in `StepMetrics`."""

# Tables and keys; those of one table that stand in the file stand together.
_TABLES: dict[str, tuple[str, ...]] = {
    "": (
        "title",
        "currency",
        "cycles_per_year",
        "machine_hour_cost",
        "labour_hour_cost",
        "investment",
    ),
    "response": ("time", "tolerance", "uncertainty"),
    "recorded": ("at_4_ma", "at_20_ma"),
    "air": ("price", "specific_energy", "energy_price"),
    "material": ("flow", "price"),
}
_NEEDED = (
    "title",
    "currency",
    "cycles_per_year",
    "response.tolerance",
    "response.uncertainty",
)
_AIR_BY_ENERGY = ("air.specific_energy", "air.energy_price")
_MATERIAL = ("material.flow", "material.price")
_RECORDED = ("recorded.at_4_ma", "recorded.at_20_ma")
_WORTH = ("machine_hour_cost", "labour_hour_cost", "air.price", *_AIR_BY_ENERGY)
_EXAMPLES = {
    "title": "a text",
    "currency": "credits",
    "response.time": "tolerance",
    "response.tolerance": "50 mbar",
    "response.uncertainty": "5 %",
    "recorded.at_4_ma": "0 bar gauge",
    "recorded.at_20_ma": "6 bar gauge",
}


class Stated(NamedTuple):
    """One assumption: its text or three texts, its range in SI."""

    written: tuple[str, ...]
    range: Range


@dataclass(frozen=True)
class Assumptions:
    """All that an assumptions file says.

    ``stated`` holds the ranges by key path, in SI units and ``currency``; what
    the file does not state is not in it. ``uncertainty`` is the share by which
    a response as a whole may be off. ``recorded_range_pa`` is the absolute
    set point at 4 and 20 mA of recorded responses.
    """

    file: str
    title: str
    currency: str
    step_time: str
    tolerance: str
    tolerance_pa: float
    uncertainty: float
    recorded_range_pa: tuple[float, float] | None
    stated: dict[str, Stated]
    basis: Basis


def load_assumptions(path: Path, basis: Basis = STANDARD) -> Assumptions:
    """Read an assumptions file.

    Parameters
    ----------
    path : Path
        A TOML file.
    basis : Basis
        Atmosphere and reference densities, those of the scenario.

    Returns
    -------
    Assumptions
        In SI units and the file's currency, checked.

    Raises
    ------
    InputError
        Anything wrong with the file, in one line: what, where and the remedy.

    Notes
    -----
    Source: TOML 1.0 through `tomllib`; factors of pint.

    Examples
    --------
    >>> from host_sim.scenario.load import shipped_scenario_path
    >>> load_assumptions(shipped_scenario_path("savings.toml")).currency
    'credits'
    """
    file = _File(path)
    file.check_company()
    currency = file.text("currency")
    if not currency or any(mark in currency for mark in "/ \t"):
        why, remedy = "not one word", "write one word without a slash: 'credits'"
        raise refusal(file.where("currency"), currency, why, remedy)
    return Assumptions(
        file=str(path),
        title=file.text("title"),
        currency=currency,
        step_time=_step_time(file),
        tolerance=file.text("response.tolerance"),
        tolerance_pa=_tolerance_pa(file, basis),
        uncertainty=_uncertainty(file),
        recorded_range_pa=_recorded_range_pa(file, basis),
        stated=_stated(file, currency, basis),
        basis=basis,
    )


class _File:
    """The keys of the file by path, known ones only."""

    def __init__(self, path: Path) -> None:
        self.path = path
        text = read_text(path)
        if not text.strip():
            raise refusal(str(path), None, "empty file", "copy the shipped one")
        try:
            document = tomllib.loads(text)
        except tomllib.TOMLDecodeError as error:
            remedy = "put it right there; texts and units stand in quotes"
            raise refusal(str(path), None, f"not TOML: {error}", remedy) from None
        self.given = dict(self._flatten(document))
        for name in _NEEDED:
            if name not in self.given:
                raise self.missing(name, f"write {name} = {_example(name)}")

    def where(self, name: str) -> str:
        return f"{self.path}: {name}"

    def missing(self, name: str, remedy: str) -> InputError:
        return refusal(self.where(name), None, "missing", remedy)

    def text(self, name: str) -> str:
        said = self.given[name]
        if not isinstance(said, str):
            remedy = f"write {name} = {_example(name)}"
            raise refusal(self.where(name), said, "should be a text", remedy)
        return said.strip()

    def check_company(self) -> None:
        """Refuse keys that exclude each other, or that lack a companion."""
        for group in (_AIR_BY_ENERGY, _MATERIAL, _RECORDED):
            present = [name for name in group if name in self.given]
            if present and len(present) < len(group):
                (absent,) = set(group) - set(present)
                raise self.missing(absent, f"write it beside {present[0]}")
        if "air.price" in self.given and _AIR_BY_ENERGY[0] in self.given:
            where = self.where(_AIR_BY_ENERGY[0])
            why = "given beside air.price"
            raise refusal(where, None, why, "price the air in one way")
        if not any(name in self.given for name in (*_WORTH, *_MATERIAL)):
            remedy = "write machine_hour_cost, labour_hour_cost, [air] or [material]"
            raise refusal(str(self.path), None, "nothing has a price", remedy)

    def _flatten(self, document: dict[str, object]) -> Iterator[tuple[str, object]]:
        for name, said in document.items():
            if name in _TABLES and name:
                if not isinstance(said, dict):
                    remedy = f"write [{name}] and its keys below"
                    raise refusal(self.where(name), said, "should be a table", remedy)
                for inner, value in said.items():
                    self._check_known(inner, name)
                    yield f"{name}.{inner}", value
            else:
                self._check_known(name, "")
                yield name, said

    def _check_known(self, name: str, table: str) -> None:
        known = _TABLES[table]
        if name in known:
            return
        tables = [] if table else [other for other in _TABLES if other]
        close = difflib.get_close_matches(name, [*known, *tables], 1, 0.7)
        remedy = (
            f"did you mean {close[0]!r}?"
            if close
            else f"the keys here are {', '.join(known)}"
        )
        where = self.where(f"{table}.{name}" if table else name)
        raise refusal(where, None, "unknown key", remedy)


def _example(name: str) -> str:
    return repr(_EXAMPLES[name]) if name in _EXAMPLES else "[100000, 120000, 150000]"


def _step_time(file: _File) -> str:
    if "response.time" not in file.given:
        return "tolerance"
    word = file.text("response.time")
    if word not in STEP_TIMES:
        remedy = f"write one of {', '.join(map(repr, STEP_TIMES))}"
        raise refusal(file.where("response.time"), word, "no time of a step", remedy)
    return word


def _tolerance_pa(file: _File, basis: Basis) -> float:
    where, said = file.where("response.tolerance"), file.text("response.tolerance")
    tolerance_pa = parse(said, "pressure difference", where, basis)
    if tolerance_pa <= 0.0:
        raise refusal(where, said, "not more than zero", "write for example '50 mbar'")
    return tolerance_pa


def _uncertainty(file: _File) -> float:
    where, said = file.where("response.uncertainty"), file.given["response.uncertainty"]
    share = parse(said, "ratio", where)
    if not 0.0 <= share < 1.0:
        why = "outside the allowed range 0 ... 100 %"
        raise refusal(where, said, why, "write for example '5 %'")
    return share


def _recorded_range_pa(file: _File, basis: Basis) -> tuple[float, float] | None:
    if _RECORDED[0] not in file.given:
        return None
    at_4_ma_pa, at_20_ma_pa = (
        parse(file.text(name), "pressure", file.where(name), basis)
        for name in _RECORDED
    )
    if at_4_ma_pa == at_20_ma_pa:
        where, said = file.where(_RECORDED[1]), file.text(_RECORDED[1])
        raise refusal(where, said, "the same as at 4 mA", "write the pressure at 20 mA")
    return at_4_ma_pa, at_20_ma_pa


def _stated(file: _File, currency: str, basis: Basis) -> dict[str, Stated]:
    scales = _scales(file, currency, basis)
    return {
        name: Stated(
            _as_written(file.given[name]),
            read_range(file.given[name], scale, file.where(name), example),
        )
        for name, (scale, example) in scales.items()
        if name in file.given
    }


def _scales(
    file: _File, currency: str, basis: Basis
) -> dict[str, tuple[Scale | None, str]]:
    """List what is stated as a range: its unit, and an example."""
    coin, hour, air = money(currency), plain("s"), air_mass(basis)
    amount = _material_si(file)
    return {
        "cycles_per_year": (None, "[100000, 120000, 150000]"),
        "machine_hour_cost": (per(coin, hour), f"'40 {currency}/h'"),
        "labour_hour_cost": (per(coin, hour), f"'40 {currency}/h'"),
        "air.price": (per(coin, air), f"'0.03 {currency}/m3 ANR'"),
        "air.specific_energy": (per(plain("J"), air), "'0.12 kWh/m3 ANR'"),
        "air.energy_price": (per(coin, plain("J")), f"'0.2 {currency}/kWh'"),
        "material.flow": (plain(f"{amount}/s"), "'2 g/s'"),
        "material.price": (per(coin, plain(amount)), f"'4 {currency}/kg'"),
        "investment": (coin, f"'2000 {currency}'"),
    }


def _material_si(file: _File) -> str:
    """Find whether the material is weighed or measured by volume."""
    said = file.given.get("material.flow")
    first = said[0] if isinstance(said, list) and said else said
    try:
        plain_unit(str(first).strip().partition(" ")[2], "m**3/s")
    except UnfitUnitError:
        return "kg"
    return "m**3"


def _as_written(said: object) -> tuple[str, ...]:
    return tuple(map(str, said if isinstance(said, list) else [said]))
