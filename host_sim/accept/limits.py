"""The user's own pass limits: a TOML file, each limit with its unit."""

import difflib
import tomllib
from dataclasses import dataclass
from pathlib import Path

from host_sim.accept.figures import AT_LEAST, FIGURES, Known
from host_sim.scenario.recording import read_text
from host_sim.scenario.refusal import refusal
from host_sim.scenario.units import Basis, in_unit, parse

GUARD = 0.1
"""Share of a limit that counts as marginal, unless the file says otherwise."""
EXAMPLE = "inaccuracy = '0.5 %'"


@dataclass(frozen=True)
class Limits:
    """Limits by the names of figures, in the units of those figures.

    ``guard`` is the share of a limit inside it within which a figure is
    marginal.
    """

    limits: dict[str, float]
    guard: float = GUARD


def read_limits(path: Path, basis: Basis) -> Limits:
    """Read a limits file.

    ``guard = "10 %"`` may stand first; below ``[limits]``, one line a figure:
    ``hysteresis = "0.3 %"``. Shares of the output span may also be given as a
    pressure difference, if ``basis.span_pa`` is known.

    Parameters
    ----------
    path : Path
    basis : Basis
        The output span, and what flows count at.

    Returns
    -------
    Limits

    Raises
    ------
    InputError
        Not TOML, an unknown name, a limit with no unit, of a wrong kind,
        negative, or 0 where a figure must reach it.

    Notes
    -----
    Source: own format.
    """
    document = _read(path)
    unknown = [name for name in document if name not in ("guard", "limits")]
    if unknown:
        remedy = f"write limits below [limits], such as {EXAMPLE}"
        raise refusal(f"{path}: {unknown[0]}", None, "unknown key", remedy)
    said = document.get("limits")
    if not isinstance(said, dict) or not said:
        remedy = f"write [limits] and lines such as {EXAMPLE}"
        raise refusal(str(path), None, "no limits", remedy)
    limits = {name: _limit(path, name, said[name], basis) for name in said}
    return Limits(limits, _guard(path, document.get("guard")))


def _read(path: Path) -> dict[str, object]:
    try:
        return tomllib.loads(read_text(path))
    except tomllib.TOMLDecodeError as error:
        remedy = "put it right there; quantities stand in quotes"
        raise refusal(str(path), None, f"not TOML: {error}", remedy) from None


def _guard(path: Path, said: object) -> float:
    if said is None:
        return GUARD
    where = f"{path}: guard"
    _check_unit(said, where, "10 %")
    guard = parse(said, "ratio", where)
    if not 0.0 <= guard < 1.0:
        raise refusal(where, said, "outside 0 ... 100 %", "write for example '10 %'")
    return guard


def _limit(path: Path, name: str, said: object, basis: Basis) -> float:
    where = f"{path}: limits.{name}"
    known = FIGURES.get(name)
    if known is None:
        near = difflib.get_close_matches(name, FIGURES, n=3, cutoff=0.4)
        names = ", ".join(near or FIGURES)
        raise refusal(where, None, "unknown figure", f"did you mean {names}?")
    _check_unit(said, where, _example(known))
    limit = shown(parse(said, known.kind, where, basis), known, basis)
    if limit < 0.0 or (limit == 0.0 and known.sense == AT_LEAST):
        least = "more than 0" if known.sense == AT_LEAST else "0 or more"
        remedy = f"write {least}; it holds either side of zero"
        raise refusal(where, said, "a limit has no sign", remedy)
    return limit


def _example(known: Known) -> str:
    return {
        "share": "0.5 %",
        "ratio": "0.2 %",
        "time": "1.5 s",
        "frequency": "2 Hz",
    }.get(known.kind, "5 l/min ANR")


def _check_unit(said: object, where: str, example: str) -> None:
    """Refuse a bare number: nobody knows whether 0.5 means 0.5 or 50 %."""
    try:
        float(said)  # type: ignore[arg-type]
    except (TypeError, ValueError):
        return
    raise refusal(where, said, "no unit", f"write for example '{example}'")


def shown(quantity_si: float, known: Known, basis: Basis) -> float:
    """Turn a number of the program into the unit of its figure."""
    unit = "%" if known.kind in ("share", "ratio") else known.unit
    return in_unit(quantity_si, known.kind, unit, basis)
