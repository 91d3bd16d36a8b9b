"""A typed or exported calibration table, evaluated and judged."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from host_sim.accept.limits import Limits, read_limits
from host_sim.accept.range_text import StatedRange, read_range
from host_sim.accept.static_figures import static_figures
from host_sim.accept.table_file import Readings, read_readings
from host_sim.accept.table_travels import make_table
from host_sim.accept.verdicts import Verdict, judge, verdict_as_dict
from host_sim.measure.static import StaticEvaluation, evaluate_static
from host_sim.measure.static_table import StaticTable
from host_sim.scenario.refusal import refusal
from host_sim.scenario.units import STANDARD, Basis, parse

TERMS = (
    "terms of IEC 61298-2, IEC 60770-1 and ISA-51.1, definitions from memory: the "
    "standards were not opened"
)


@dataclass(frozen=True)
class Calibration:
    """A table with all that it tells; ``limits`` as read, if any."""

    file: str
    stated: StatedRange
    table: StaticTable
    found: StaticEvaluation
    verdicts: tuple[Verdict, ...]
    limits: Limits | None
    notes: tuple[str, ...]


def calibrate(
    path: Path, range_text: str, limits_path: Path | None, dead_band: str | None
) -> Calibration:
    """Read, evaluate and judge a calibration table.

    Parameters
    ----------
    path : Path
        The table; see `table_file.read_readings`.
    range_text : str
        Such as "4..20 mA = 3..15 psig".
    limits_path : Path or None
        Pass limits; None: nothing is judged.
    dead_band : str or None
        Known dead band of the input, such as "0.1 %".

    Returns
    -------
    Calibration

    Raises
    ------
    InputError
        Anything wrong with the table, range, limits or dead band.
    """
    stated = read_range(range_text, "--range", STANDARD)
    limits = None
    if limits_path is not None:
        limits = read_limits(limits_path, Basis(span_pa=stated.span.span_pa))
    dead_band_percent = _percent(dead_band, stated)
    readings = read_readings(path, STANDARD)
    notes = _check_units(readings, stated)
    table, order_notes = make_table(readings, stated.span)
    found = evaluate_static(table, dead_band_percent)
    verdicts = judge(static_figures(found), limits)
    return Calibration(
        file=path.name,
        stated=stated,
        table=table,
        found=found,
        verdicts=tuple(verdicts),
        limits=limits,
        notes=(*notes, *order_notes, *found.notes, *_unused(limits, verdicts), TERMS),
    )


def _percent(dead_band: str | None, stated: StatedRange) -> float | None:
    """Read a dead band as a share of the input span or as a current."""
    if dead_band is None:
        return None
    where = "--dead-band"
    low_ma, high_ma = stated.span.current_ma
    if "%" in dead_band:
        return 100.0 * parse(dead_band, "ratio", where)
    return 100.0 * parse(dead_band, "current", where) / abs(high_ma - low_ma)


def _check_units(readings: Readings, stated: StatedRange) -> list[str]:
    """Refuse a gauge pressure beside one that says neither gauge nor absolute."""
    table, ends = readings.unit, stated.unit
    if table.kind != ends.kind:
        unsaid, said = (table, ends) if ends.kind == "pressure" else (ends, table)
        where = "--range" if unsaid is ends else f"{readings.file}: pressure"
        why = f"neither gauge nor absolute, beside {said.text!r}"
        remedy = f"write '{unsaid.text} gauge' or '{unsaid.text} absolute'"
        raise refusal(where, unsaid.text, why, remedy)
    if table.kind == "pressure":
        return []
    return [
        f"{table.text!r} is neither gauge nor absolute: readings and range count from "
        "the same zero"
    ]


def _unused(limits: Limits | None, verdicts: list[Verdict]) -> list[str]:
    if limits is None:
        return ["no limits were given: measured, not judged"]
    names = {verdict.figure.name for verdict in verdicts}
    others = ", ".join(name for name in limits.limits if name not in names)
    return [f"limits that no such table can answer: {others}"] if others else []


def calibration_as_dict(done: Calibration) -> dict[str, Any]:
    """Write a calibration with units in the keys, for JSON."""
    found, span = done.found, done.stated.span
    return {
        "file": done.file,
        "current_ma": list(span.current_ma),
        "span_pa": span.span_pa,
        "reverse_acting": span.is_reverse,
        "travels": [travel.name for travel in done.table.travels],
        "guard_percent_of_limit": 100.0 * done.limits.guard if done.limits else None,
        "figures": {v.figure.name: verdict_as_dict(v) for v in done.verdicts},
        "largest_error_percent_of_span": found.above.percent,
        "least_error_percent_of_span": found.below.percent,
        "dead_band_percent_of_input_span": found.dead_band_percent,
        "points": {
            "input_percent": found.input_percent.tolist(),
            "average_up_percent_of_span": _listed(found.average_up_percent),
            "average_down_percent_of_span": _listed(found.average_down_percent),
            "average_percent_of_span": found.average_percent.tolist(),
        },
        "lines": {
            name: {
                "error_at_0_percent_of_span": line.intercept_percent,
                "error_per_input": line.tilt,
                "above_percent_of_span": line.above_percent,
                "below_percent_of_span": line.below_percent,
            }
            for name, line in found.lines.items()
        },
        "notes": list(done.notes),
    }


def _listed(curve: Any) -> list[float] | None:  # noqa: ANN401
    return None if curve is None else list(curve.tolist())
