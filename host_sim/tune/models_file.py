"""The model file: an identified model as TOML.

``record`` and ``input``
    The record's name and the heading of its input column.
``input_unit``
    Unit of the input: "1" (a drive, 1 is full), "mA" or "Pa" (a set point).
``[model]``
    ``form``, ``gain`` [Pa per unit of input; of an integrator Pa/s], ``dead_time_s``
    and, as the form asks, ``time_constant_s`` and ``damping``: see `Model`.
``[intervals]``
    [low, high] of each number above; they hold together in 95 of 100 records.
``[range]``
    ``input`` and absolute ``pressure_pa``, [lowest, highest] of the record. Beyond
    it nothing is known.
"""

import json
import math
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from host_sim.errors import InputError
from host_sim.scenario.recording import read_text
from host_sim.scenario.refusal import refusal
from host_sim.tune.identify import Identification
from host_sim.tune.models import SHAPES, Model

Interval = tuple[float, float]

INPUT_UNITS = ("1", "mA", "Pa")
_TABLES = {"model", "intervals", "range"}
_TOP = ("record", "input", "input_unit")


@dataclass(frozen=True)
class ModelFile:
    """What a model file holds; see the module's text for each key."""

    record: str
    input: str
    input_unit: str
    model: Model
    intervals: dict[str, Interval]
    input_range: Interval
    pressure_range_pa: Interval


def model_file(found: Identification) -> ModelFile:
    """Turn the chosen model of a record into what its file holds.

    Parameters
    ----------
    found : Identification

    Returns
    -------
    ModelFile
    """
    record, fit = found.record, found.best.fit
    return ModelFile(
        record=record.file,
        input=record.signal.name,
        input_unit=record.signal.unit,
        model=fit.model,
        intervals=fit.intervals,
        input_range=(float(record.input.min()), float(record.input.max())),
        pressure_range_pa=(
            float(record.pressure_pa.min()),
            float(record.pressure_pa.max()),
        ),
    )


def model_text(held: ModelFile) -> str:
    """Write a model file as TOML.

    Parameters
    ----------
    held : ModelFile

    Returns
    -------
    str
        `read_model` gives ``held`` back from it, number for number.
    """
    numbers = {name: getattr(held.model, name) for name in _numbers(held.model)}
    lines = [
        "# Model file of integer-pilot: a plant as a recorded step shows it.",
        "# gain: Pa per unit of input (integrating: Pa/s); pressures are absolute.",
        "# All intervals together hold the truth in 95 of 100 records.",
        f"record = {_quoted(held.record)}",
        f"input = {_quoted(held.input)}",
        f"input_unit = {_quoted(held.input_unit)}",
        "",
        "[model]",
        f"form = {_quoted(held.model.form)}",
        *(f"{name} = {float(number)!r}" for name, number in numbers.items()),
        "",
        "[intervals]",
        *(f"{name} = {_pair(held.intervals[name])}" for name in numbers),
        "",
        "[range]",
        f"input = {_pair(held.input_range)}",
        f"pressure_pa = {_pair(held.pressure_range_pa)}",
    ]
    return "\n".join(lines) + "\n"


def _numbers(model: Model) -> tuple[str, ...]:
    return ("gain", "dead_time_s", *SHAPES[model.form])


def _quoted(text: str) -> str:
    # A JSON string is a TOML basic string.
    return json.dumps(text, ensure_ascii=False)


def _pair(interval: Interval) -> str:
    return f"[{float(interval[0])!r}, {float(interval[1])!r}]"


def read_model(path: Path) -> ModelFile:
    """Read a model file.

    Parameters
    ----------
    path : Path

    Returns
    -------
    ModelFile

    Raises
    ------
    InputError
        No such file, not TOML, a key that is missing, unknown or of the wrong
        kind, or numbers that no plant has, such as a negative dead time.
    """
    try:
        document = tomllib.loads(read_text(path))
    except tomllib.TOMLDecodeError as error:
        remedy = "write it anew with identify --model"
        raise refusal(str(path), None, f"not TOML: {error}", remedy) from None
    _check_keys(path, "", document, (*_TOP, *sorted(_TABLES)))
    for table in _TABLES:
        if not isinstance(document[table], dict):
            raise refusal(f"{path}: {table}", None, "no table", f"write [{table}]")
    model = _model(path, document["model"])
    _check_keys(path, "intervals.", document["intervals"], _numbers(model))
    _check_keys(path, "range.", document["range"], ("input", "pressure_pa"))
    for name in _TOP:
        if not isinstance(document[name], str):
            raise refusal(f"{path}: {name}", document[name], "no text", "quote it")
    if document["input_unit"] not in INPUT_UNITS:
        why, remedy = "unknown unit", f"write one of {', '.join(INPUT_UNITS)}"
        raise refusal(f"{path}: input_unit", document["input_unit"], why, remedy)
    return ModelFile(
        record=document["record"],
        input=document["input"],
        input_unit=document["input_unit"],
        model=model,
        intervals={
            name: _interval(path, "intervals", name, pair)
            for name, pair in document["intervals"].items()
        },
        input_range=_interval(path, "range", "input", document["range"]["input"]),
        pressure_range_pa=_interval(
            path, "range", "pressure_pa", document["range"]["pressure_pa"]
        ),
    )


def _check_keys(
    path: Path, table: str, found: dict[str, Any], wanted: tuple[str, ...]
) -> None:
    for name in wanted:
        if name not in found:
            remedy = "write the file anew with identify --model"
            raise refusal(f"{path}: {table}{name}", None, "missing", remedy)
    for name in found:
        if name not in wanted:
            remedy = f"the keys here are {', '.join(wanted)}"
            raise refusal(f"{path}: {table}{name}", None, "unknown key", remedy)


def _model(path: Path, table: dict[str, Any]) -> Model:
    form = table.get("form")
    if form not in SHAPES:
        remedy = f"write one of {', '.join(repr(known) for known in SHAPES)}"
        raise refusal(f"{path}: model.form", form, "unknown form", remedy)
    names = ("gain", "dead_time_s", *SHAPES[form])
    _check_keys(path, "model.", table, ("form", *names))
    for name in names:
        _check_number(f"{path}: model.{name}", table[name])
    try:
        return Model(form, **{name: float(table[name]) for name in names})
    except InputError as error:
        raise InputError(f"{path}: model.{error}") from None


def _check_number(where: str, said: object) -> None:
    if isinstance(said, bool) or not isinstance(said, int | float):
        raise refusal(where, said, "no number", "write a number without quotes")


def _interval(path: Path, table: str, name: str, said: object) -> Interval:
    where = f"{path}: {table}.{name}"
    if not isinstance(said, list) or len(said) != 2:
        raise refusal(where, said, "no pair", "write [low, high]")
    for number in said:
        _check_number(where, number)
    low, high = float(said[0]), float(said[1])
    if math.isnan(low) or not low <= high:
        raise refusal(where, said, "low is not below high", "write [low, high]")
    return low, high
