"""Every path through a function, and what is left of them when it returns.

A function runs once for each sequence of decisions: it is called again with the
first decisions replayed and the last one changed, until none is left. Then its
paths are joined: what it returns, and each state word, is bounded by the hull
over all its paths. So paths of one function multiply, those of one function
after another only add.
"""

import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import CodeType
from typing import NoReturn

from host_sim.prove.interval import LIMIT, Interval
from host_sim.prove.interval_form import bounds_together

LAW_MARK = "__proved__"


class ProofError(ArithmeticError):
    """What the proof cannot show: the fact, the place, the path."""

    def __init__(self, what: str, where: str, path: str) -> None:
        super().__init__(f"{where}: {what} [{path}]")
        self.what = what
        self.where = where
        self.path = path


class ImpossibleError(Exception):
    """The decisions contradict each other: no integer takes this path."""


@dataclass
class Decision:
    """A choice on the present path: which of how many, and where."""

    chosen: int
    options: int
    where: str


@dataclass
class Call:
    """A function under way: the decisions of its present path."""

    name: str
    decisions: list[Decision] = field(default_factory=list)
    at: int = 0

    def next_path(self) -> bool:
        """Change the last decision that can change; false at the end."""
        while self.decisions:
            last = self.decisions[-1]
            if last.chosen + 1 < last.options:
                last.chosen += 1
                return True
            self.decisions.pop()
        return False


@dataclass
class Ended:
    """What a path leaves: the number returned and all words."""

    returned: tuple[Interval, int, int] | None
    words: list[tuple[Interval, int, int]]


class Paths:
    """Runs functions on intervals and keeps the account.

    Attributes
    ----------
    words : list of Interval
        The state that the functions read and write.
    paths, operations : int
        Paths of functions that ended, and results that were checked.
    worst : dict
        Largest magnitude of a result, for each place in the source.
    """

    def __init__(self) -> None:
        self.words: list[Interval] = []
        self.paths = 0
        self.operations = 0
        self.worst: dict[tuple[CodeType, int], int] = {}
        self._calls: list[Call] = []
        self._narrowed: list[tuple[Interval, int, int]] = []

    def point(self, number: int) -> Interval:
        """Make an interval of one integer."""
        return Interval(self, number, number)

    def call(
        self, function: Callable[..., Interval | None], *arguments: object
    ) -> Interval | None:
        """Run every path of a function; return the hull of its results."""
        before = list(self.words)
        call = Call(getattr(function, "__name__", "function"))
        self._calls.append(call)
        ended = []
        while True:
            mark = len(self._narrowed)
            call.at = 0
            self.words[:] = before
            try:
                returned = function(*arguments)
                ended.append(
                    Ended(
                        None if returned is None else _with_bounds(returned),
                        [_with_bounds(word) for word in self.words],
                    )
                )
            except ImpossibleError:
                pass
            self._undo(mark)
            if not call.next_path():
                break
        self._calls.pop()
        self.paths += len(ended)
        if not ended:
            raise ImpossibleError
        return self._join(before, ended)

    def _join(self, before: list[Interval], ended: Sequence[Ended]) -> Interval | None:
        for slot, old in enumerate(before):
            ends = [path.words[slot] for path in ended]
            if any(word is not old for word, _, _ in ends):
                self.words[slot] = self._hull(ends)
            else:
                self.words[slot] = old
        returns = [path.returned for path in ended if path.returned is not None]
        if not returns:
            return None
        if len(returns) != len(ended):
            self.fail("returns a number on some paths only")
        return self._hull(returns)

    def _hull(self, ends: Sequence[tuple[Interval, int, int]]) -> Interval:
        low = min(low for _, low, _ in ends)
        high = max(high for _, _, high in ends)
        numbers = {id(number): number for number, _, _ in ends}
        return Interval(self, low, high, ("join", *numbers.values()))

    def choose(self, options: int) -> int:
        """Take the present path's decision; a new one is option 0."""
        if not self._calls:
            raise RuntimeError("a decision outside any function")
        call = self._calls[-1]
        if call.at == len(call.decisions):
            call.decisions.append(Decision(0, options, place_name()))
        call.at += 1
        return call.decisions[call.at - 1].chosen

    def note(self, number: Interval, low: int, high: int) -> None:
        """Narrow a number until the path ends."""
        if low > high:
            raise ImpossibleError
        self._narrowed.append((number, number.low, number.high))
        number.low, number.high = low, high

    def abandon(self) -> None:
        """Leave all calls after a failure; what they narrowed is undone."""
        self._calls.clear()
        self._undo(0)

    def _undo(self, mark: int) -> None:
        while len(self._narrowed) > mark:
            number, low, high = self._narrowed.pop()
            number.low, number.high = low, high

    def result(
        self, made: tuple[str, *tuple[Interval, ...]], low: int, high: int
    ) -> Interval:
        """Check a result, enter it in the account, and make its interval."""
        operation, *operands = made
        together = None
        if operation in ("add", "sub"):
            together = bounds_together(operation, *operands)
        if together:
            low, high = max(low, together[0]), min(high, together[1])
            if low > high:
                raise ImpossibleError
        largest = max(abs(low), abs(high))
        if largest > LIMIT:
            self.fail(f"{low} ... {high} leaves +-(2**30 - 1)")
        where = place()
        self.operations += 1
        if largest > self.worst.get(where, -1):
            self.worst[where] = largest
        return Interval(self, low, high, made)

    def fail(self, what: str) -> NoReturn:
        """Stop: this cannot be shown."""
        where = "the end" if not self._calls else place_name()
        raise ProofError(what, where, self.present_path())

    def present_path(self) -> str:
        """Write the calls under way: each decision's place and option."""
        parts = []
        for call in self._calls:
            made = [f"{d.where} {d.chosen + 1}/{d.options}" for d in call.decisions]
            parts.append(f"{call.name}({', '.join(made)})")
        return " > ".join(parts)


def _with_bounds(number: Interval) -> tuple[Interval, int, int]:
    return number, number.low, number.high


def place() -> tuple[CodeType, int]:
    """Find the line of the law that is running."""
    frame = sys._getframe(1)
    while LAW_MARK not in frame.f_globals and frame.f_back is not None:
        frame = frame.f_back
    return frame.f_code, frame.f_lineno


def place_name() -> str:
    """Write the line of the law that is running."""
    code, line = place()
    return f"{Path(code.co_filename).name}:{line}"
