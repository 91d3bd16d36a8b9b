"""Raw rows of a sequence: one a tick, written and read without loss.

Every figure is worked out from these rows alone, so it can be worked out again
from the file. ``mark`` says what a row is for: its first word the purpose, the
others what the sequence needs to know.
"""

import csv
import hashlib
import itertools
from dataclasses import dataclass, field
from pathlib import Path
from typing import NamedTuple

import numpy as np

from host_sim.accept.rig import Sample
from host_sim.measure.curve import FloatArray
from host_sim.scenario.recording import read_text
from host_sim.scenario.refusal import refusal

HEADINGS = (
    "time [s]",
    "current [mA]",
    "pressure [Pa absolute]",
    "drive [1]",
    "supply [Pa absolute]",
    "air used [kg]",
    "faults",
    "mark",
)
TEXTS = 2
"""So many of the last columns are text."""


class Segment(NamedTuple):
    """Neighbouring rows of one mark."""

    words: tuple[str, ...]
    time_s: FloatArray
    current_ma: FloatArray
    pressure_pa: FloatArray
    air_used_kg: FloatArray

    @property
    def purpose(self) -> str:
        """First word of the mark."""
        return self.words[0]

    @property
    def mean_pa(self) -> float:
        """Mean pressure over all its rows [Pa]."""
        return float(self.pressure_pa.mean())


@dataclass
class Rows:
    """Rows as they come; `segments` sorts them."""

    table: list[tuple[float, float, float, float, float, float, str, str]] = field(
        default_factory=list
    )

    def take(self, time_s: float, current_ma: float, sample: Sample, mark: str) -> None:
        """Add the row of one tick."""
        self.table.append(
            (
                time_s,
                current_ma,
                sample.pressure_pa,
                sample.drive,
                sample.supply_pa,
                sample.air_used_kg,
                "; ".join(sample.faults),
                mark,
            )
        )

    def segments(self, *purposes: str) -> list[Segment]:
        """Return neighbouring rows of one mark, of some purposes or all."""
        found = []
        for mark, group in itertools.groupby(self.table, key=lambda row: row[-1]):
            words = tuple(mark.split())
            if purposes and words[0] not in purposes:
                continue
            times, currents, pressures, _, _, used, _, _ = zip(*group, strict=True)
            columns = (np.array(each) for each in (times, currents, pressures, used))
            found.append(Segment(words, *columns))
        return found

    def write_csv(self, path: Path) -> None:
        """Write all rows; every number reads back as it was."""
        with path.open("w", newline="", encoding="utf-8") as stream:
            writer = csv.writer(stream, lineterminator="\n")
            writer.writerow(HEADINGS)
            writer.writerows(
                (*map(repr, row[:-TEXTS]), *row[-TEXTS:]) for row in self.table
            )


def read_rows(path: Path, checksum: str | None = None) -> Rows:
    """Read the rows of a sequence back.

    Parameters
    ----------
    path : Path
    checksum : str, optional
        SHA-256 of the file when it was written.

    Returns
    -------
    Rows

    Raises
    ------
    InputError
        The file was changed, or is not such a file.
    """
    text = read_text(path)
    if checksum is not None and sha256(path) != checksum:
        why = "its SHA-256 is not the recorded one: edited or damaged"
        raise refusal(str(path), None, why, "restore the file or measure again")
    lines = csv.reader(text.splitlines())
    if tuple(next(lines, ())) != HEADINGS:
        remedy = "give a file that a sequence wrote"
        raise refusal(f"{path}: row 1", None, "not the raw rows of a sequence", remedy)
    rows = Rows()
    for number, cells in enumerate(lines, 2):
        try:
            time_s, current_ma, pressure_pa, drive, supply_pa, used_kg = map(
                float, cells[:-TEXTS]
            )
            faults, mark = cells[-TEXTS:]
        except ValueError:
            why = "not a row of a sequence"
            where = f"{path}: row {number}"
            raise refusal(where, ",".join(cells), why, "restore the file") from None
        rows.table.append(
            (time_s, current_ma, pressure_pa, drive, supply_pa, used_kg, faults, mark)
        )
    return rows


def sha256(path: Path) -> str:
    """Return the checksum of a file, in hexadecimal digits."""
    return hashlib.sha256(path.read_bytes()).hexdigest()
