"""A recorded step: time, input, pressure and perhaps supply."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from host_sim.measure.curve import FloatArray
from host_sim.scenario.refusal import refusal
from host_sim.scenario.units import STANDARD, Basis
from host_sim.tune.record_columns import NOTHING_NAMED, Named
from host_sim.tune.record_rows import Rows, read_rows

FEWEST_ROWS = 20
# A hole of more than so many usual intervals is a gap and not jitter.
GAP_INTERVALS = 5.0


@dataclass(frozen=True)
class Signal:
    """What the input column is: its heading and kind.

    ``kind`` is "ratio" (a drive or opening, 1 is full), "current" [mA] or
    "pressure" (a set point) [Pa].
    """

    name: str
    kind: str

    @property
    def unit(self) -> str:
        """Unit of its numbers: "1", "mA" or "Pa"."""
        return {"ratio": "1", "current": "mA", "pressure": "Pa"}[self.kind]


@dataclass(frozen=True)
class Record:
    """A record from its first row, which counts as 0 s.

    Attributes
    ----------
    file : str
        Its name, for messages.
    signal : Signal
        What the input is.
    time_s, input, pressure_pa : ndarray, shape (n,)
        n is 20 or more; times increase strictly [s], [unit of the signal],
        absolute [Pa].
    supply_pa : ndarray or None
        Absolute supply pressure, if it was recorded [Pa].
    pressure_name, pressure_unit : str
        Heading and unit of the pressure, for people.
    basis : Basis
        What gauge pressures stand on.
    notes : tuple of str
        Rows, interval, jitter, gaps, in words.
    """

    file: str
    signal: Signal
    time_s: FloatArray
    input: FloatArray
    pressure_pa: FloatArray
    supply_pa: FloatArray | None
    pressure_name: str
    pressure_unit: str
    basis: Basis
    notes: tuple[str, ...]

    @property
    def interval_s(self) -> float:
        """Usual time from row to row [s]."""
        return float(np.median(np.diff(self.time_s)))


def read_record(
    path: Path, named: Named = NOTHING_NAMED, basis: Basis = STANDARD
) -> Record:
    """Read a logger's CSV file of a step.

    Headings carry units: "time [s]", "drive (%)", "pressure (bar gauge)",
    "current_ma". Dates and times do for the time. Rows with an empty cell are
    left out.

    Parameters
    ----------
    path : Path
    named : Named
        Columns that the user names; the others are found.
    basis : Basis
        The atmosphere of gauge pressures.

    Returns
    -------
    Record

    Raises
    ------
    InputError
        Missing, ambiguous or unfit columns, a bad row, fewer than 20 rows.

    Notes
    -----
    Source: common practice of data loggers.
    """
    found = read_rows(path, named, basis)
    if len(found.rows) < FEWEST_ROWS:
        why = f"{len(found.rows)} rows; at least {FEWEST_ROWS} are needed"
        raise refusal(str(path), None, why, "record longer or sample faster")
    table = np.array(found.rows)
    time_s = table[:, 0] - table[0, 0]
    columns = found.columns
    return Record(
        file=path.name,
        signal=Signal(columns.input.written, columns.input.kind),
        time_s=time_s,
        input=table[:, 1],
        pressure_pa=table[:, 2],
        supply_pa=None if columns.supply is None else table[:, 3],
        pressure_name=columns.pressure.written,
        pressure_unit=columns.pressure.unit,
        basis=basis,
        notes=tuple(_notes(found, time_s)),
    )


def _notes(found: Rows, time_s: FloatArray) -> list[str]:
    intervals_s = np.diff(time_s)
    usual_s = float(np.median(intervals_s))
    is_gap = intervals_s > GAP_INTERVALS * usual_s
    jitter_s = np.abs(intervals_s[~is_gap] - usual_s).max()
    notes = [
        f"{len(time_s)} rows over {time_s[-1]:.4g} s, every {usual_s:.3g} s, off by up "
        f"to {jitter_s:.2g} s"
    ]
    notes += [
        f"gap of {intervals_s[k]:.3g} s from {time_s[k]:.4g} s on: the input counts as "
        "changed half way"
        for k in np.flatnonzero(is_gap)
    ]
    if found.dropped:
        notes.append(f"{found.dropped} rows with an empty cell were left out")
    return notes
