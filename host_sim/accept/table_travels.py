"""Readings sorted into ways up and down, by what the table says or its order."""

import itertools
import statistics
from collections.abc import Iterator

import numpy as np

from host_sim.accept.table_file import Reading, Readings
from host_sim.measure.static_table import StaticRange, StaticTable, Travel
from host_sim.scenario.refusal import refusal

STANDSTILL = 0.1
"""A step of the input below this share of the usual one is none."""
SCATTER = 0.005
"""By so much of the whole travel an input may miss its point."""


class Way:
    """Rows of one travel, in the order of the table.

    ``rising`` speaks of the input percentage, not of the pressure.
    """

    def __init__(self, rows: list[Reading], *, rising: bool) -> None:
        self.rows = rows
        self.rising = rising

    @property
    def ends_ma(self) -> tuple[float, float]:
        """First and last current [mA]."""
        return self.rows[0].current_ma, self.rows[-1].current_ma


def make_table(readings: Readings, span: StaticRange) -> tuple[StaticTable, list[str]]:
    """Sort readings into travels.

    A cycle column keeps its rows together, a direction column says which way;
    where there is none, the order of the inputs does. A reading taken once at
    a turn counts on both ways.

    Parameters
    ----------
    readings : Readings
    span : StaticRange
        In the unit of the readings [Pa].

    Returns
    -------
    table : StaticTable
    notes : list of str

    Raises
    ------
    InputError
        Input points out of order, two ways of one cycle in one direction, or
        what `StaticTable` refuses.

    Notes
    -----
    Source: common practice.
    """
    sorter = _Sorter(readings, span)
    travels: list[Travel] = []
    for name, rows in sorter.cycles():
        ways = sorter.ways(rows)
        if name is not None:
            _check_cycle(readings.file, name, ways)
        travels += [sorter.travel(way, name, travels) for way in ways]
    return StaticTable(span, tuple(travels)), sorter.notes


def _check_cycle(file: str, name: str, ways: list[Way]) -> None:
    for rising in (True, False):
        same = [way for way in ways if way.rising == rising]
        if len(same) > 1:
            where = f"{file}: row {same[1].rows[0].row}, cycle {name}"
            why = "input points out of order: a second way " + (
                "up" if rising else "down"
            )
            raise refusal(where, None, why, "sort the rows or number the cycles anew")


def _usual_step_ma(rows: list[Reading]) -> float:
    inputs = [row.current_ma for row in rows]
    least_ma = SCATTER * (max(inputs) - min(inputs))
    steps_ma = [abs(b - a) for a, b in itertools.pairwise(inputs)]
    return statistics.median([s for s in steps_ma if s > least_ma] or [1.0])


class _Sorter:
    """Knows the file, its usual step of the input, and what to note."""

    def __init__(self, readings: Readings, span: StaticRange) -> None:
        self.file, self.rows, self.span = readings.file, readings.rows, span
        self.notes: list[str] = []
        self.standstill_ma = STANDSTILL * _usual_step_ma(self.rows)
        self.sign = 1.0 if span.current_ma[1] > span.current_ma[0] else -1.0

    def cycles(self) -> Iterator[tuple[str | None, list[Reading]]]:
        """Yield the rows of each cycle; all of them where no column says."""
        names = dict.fromkeys(row.cycle for row in self.rows)
        for name in names:
            yield name, [row for row in self.rows if row.cycle == name]

    def ways(self, rows: list[Reading]) -> list[Way]:
        """Split rows into travels."""
        if rows[0].rising is not None:
            return [
                way
                for rising in (True, False)
                for way in self._said([r for r in rows if r.rising == rising])
            ]
        return self._inferred(rows)

    def travel(self, way: Way, name: str | None, before: list[Travel]) -> Travel:
        """Make a travel, its points in the order of rising input."""
        count = 1 + sum(each.rising == way.rising for each in before)
        cycle = name or str(count)
        first, last = way.rows[0].row, way.rows[-1].row
        word = "up" if way.rising else "down"
        inputs = np.array([row.current_ma for row in way.rows])
        outs = np.array([row.reading_pa for row in way.rows])
        order = np.argsort(self.sign * inputs)
        return Travel(
            name=f"{self.file}: rows {first} to {last}, cycle {cycle} {word}",
            rising=way.rising,
            current_ma=inputs[order],
            reading_pa=outs[order],
        )

    def _said(self, rows: list[Reading]) -> list[Way]:
        """Split rows of one direction wherever the input starts anew.

        Either order will do: people list the way down beside the way up.
        """
        ways: list[Way] = []
        heading = 0
        for row in rows:
            way = ways[-1].rows if ways else []
            moved = self._direction(way[-1], row) if way else 0
            if not way or (heading not in (0, moved) and self._is_start(way, row)):
                ways.append(Way([row], rising=bool(row.rising)))
                heading = 0
            elif moved == 0 or heading not in (0, moved):
                raise self._out_of_order(row, "it neither rises nor falls throughout")
            else:
                way.append(row)
                heading = moved
        return ways

    def _is_start(self, way: list[Reading], row: Reading) -> bool:
        return self._direction(way[0], row) == 0

    def _direction(self, a: Reading, b: Reading) -> int:
        moved = self.sign * (b.current_ma - a.current_ma)
        return 0 if abs(moved) < self.standstill_ma else (1 if moved > 0.0 else -1)

    def _inferred(self, rows: list[Reading]) -> list[Way]:
        """Split where the input turns; a turn must be at an end of the travel."""
        inputs = [row.current_ma for row in rows]
        low_ma, high_ma = min(inputs), max(inputs)
        ways: list[Way] = []
        start, heading = 0, 0
        for k, (a, b) in enumerate(itertools.pairwise(rows)):
            moved = self._direction(a, b)
            if heading == 0 and moved == 0:
                raise self._out_of_order(b, "the same input is read twice")
            if heading not in (0, moved):
                if min(abs(a.current_ma - end) for end in (low_ma, high_ma)) >= (
                    self.standstill_ma
                ):
                    raise self._out_of_order(b, "it turns before the end of the travel")
                ways.append(Way(rows[start : k + 1], rising=heading > 0))
                start = k + 1 if moved == 0 else k
                if moved:
                    self._note_turn()
            heading = moved
        ways.append(Way(rows[start:], rising=heading > 0))
        return self._without_returns(ways)

    def _note_turn(self) -> None:
        words = "a reading taken once at a turn counts both ways: no hysteresis there"
        if words not in self.notes:
            self.notes.append(words)

    def _without_returns(self, ways: list[Way]) -> list[Way]:
        """Drop bare jumps from one end back to the other, between ways.

        Both rows of such a jump belong to the ways beside it.
        """
        kept = [way for way in ways if way.rising == ways[0].rising]
        jumps = [way for way in ways if way.rising != ways[0].rising]
        one_way = all(len(way.rows) == 2 for way in jumps) and ways[-1] in kept
        if jumps and one_way and len(ways[0].rows) > 2:
            self.notes.clear()
            return kept
        return ways

    def _out_of_order(self, row: Reading, why: str) -> Exception:
        return refusal(
            f"{self.file}: row {row.row}",
            f"{row.current_ma:g} mA",
            f"input points out of order: {why}",
            "sort the rows, or add columns 'cycle' and 'direction' (up, down)",
        )
