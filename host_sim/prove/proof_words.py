"""The law's two arrays, filled with intervals: every index is checked."""

import re
from collections.abc import Sequence

from host_sim.prove.interval import Interval
from host_sim.prove.interval_paths import Paths, place_name

Row = tuple[str, tuple[int, int]]


def spans_of(table: Sequence[Sequence[object]]) -> list[Row]:
    """Take (name, (lowest, highest)) out of a table of the layout."""
    return [(str(row[0]), row[1]) for row in table]  # type: ignore[misc]


class Words:
    """An array of the law, each word within its declared range.

    A computed index must stay within the table that it counts from: words whose
    names differ only in their number, or a gain's mantissa and shift.

    Parameters
    ----------
    paths : Paths
    rows : sequence
        (name, (lowest, highest)) of each word.
    words : list of Interval
        Where the words are kept.
    writable : bool
        Whether the law may store into it.
    """

    def __init__(
        self,
        paths: Paths,
        rows: Sequence[Row],
        words: list[Interval],
        writable: bool,
    ) -> None:
        self.paths = paths
        self.rows = rows
        self.words = words
        self.writable = writable
        self.stored_at: dict[int, str] = {}
        self.forget()

    def forget(self, *others: tuple[int, int]) -> None:
        """Let every word be anything in its declared, or another, range."""
        spans = others or [span for _, span in self.rows]
        self.words[:] = [Interval(self.paths, low, high) for low, high in spans]
        self.stored_at.clear()

    def check(self) -> None:
        """Fail unless every word is within its declared range."""
        for slot, (name, (low, high)) in enumerate(self.rows):
            word = self.words[slot]
            if word.low < low or word.high > high:
                stored = self.stored_at.get(slot, "before")
                self.paths.fail(f"{name}: {word}, declared {low} ... {high}, {stored}")

    def __getitem__(self, index: Interval) -> Interval:
        """Read a word; of several possible ones, their hull."""
        slots = self._slots(index)
        found = [self.words[slot] for slot in slots]
        if len(found) == 1:
            return found[0]
        low, high = min(word.low for word in found), max(word.high for word in found)
        return Interval(self.paths, low, high)

    def __setitem__(self, index: Interval, word: Interval) -> None:
        """Store a word."""
        slots = self._slots(index)
        if not self.writable:
            self.paths.fail("stores into the parameters")
        if len(slots) > 1:
            self.paths.fail(f"stores into one of the slots {index}")
        self.stored_at[slots[0]] = f"last stored at {place_name()}"
        self.words[slots[0]] = word

    def _slots(self, index: Interval) -> range:
        if index.low < 0 or index.high >= len(self.rows):
            self.paths.fail(f"index {index} of {len(self.rows)} words")
        slots = range(index.low, index.high + 1)
        base = index
        while base.made:
            base = base.made[1:][0]
        if not base.is_point:
            self.paths.fail(f"index {index} counts from no slot")
        tables = {self._table(slot) for slot in (base.low, *slots)}
        if index.made and len(tables) > 1:
            self.paths.fail(f"index {index} leaves its table: {sorted(tables)}")
        return slots

    def _table(self, slot: int) -> str:
        return re.sub(r"(\d+|GAIN|SHIFT)$", "", self.rows[slot][0])
