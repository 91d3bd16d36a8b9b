"""Branches that are not settled: walk both sides, then make one of what they left.

Three ways to take a branch. Short sides are both computed, and each result is
chosen. Long sides are jumped over: by real flow where all lanes agree, so that one
side runs; else a side is skipped only when no lane takes it, and each lane chooses
afterwards.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from host_sim.compiling.machine import Machine
from host_sim.compiling.memory import Key, Memory, Registers
from host_sim.compiling.refusal import RefusedError
from host_sim.compiling.source import Frame
from host_sim.compiling.values import Kind, Value, common_kind, is_number, kind_of

Walk = Callable[[], Any]
Pair = tuple[Any, Any]


@dataclass
class _Side:
    """What one side of a branch left."""

    names: dict[str, Any]
    registers: Registers
    result: Any
    block: Any


class Branches:
    """Takes branches of a function under construction."""

    def __init__(self, machine: Machine, memory: Memory) -> None:
        self.machine = machine
        self.memory = memory

    def fork(
        self, test: Value, walks: Sequence[Walk], frame: Frame, *, jump: bool
    ) -> Any:
        """Walk both sides of a branch.

        Parameters
        ----------
        test : Value
            A truth.
        walks : sequence of callable
            Each writes one side, for true and for false, and returns its result.
        frame : Frame
            Its names are those of both sides afterwards: a name that has no
            number, or none of one kind, on both sides is gone.
        jump : bool
            Worth a jump.

        Returns
        -------
        object
            The result of the side that was taken.
        """
        if not jump:
            return self._fork_both(test, walks, frame)
        if test.laned:
            return self._fork_lanes(test, walks, frame)
        return self._fork_flow(test, walks, frame)

    def _fork_both(self, test: Value, walks: Sequence[Walk], frame: Frame) -> Any:
        sides = [self._walk(walk, frame, guess=True) for walk in walks]
        return self._choose_all(test, sides, frame)

    def _fork_lanes(self, test: Value, walks: Sequence[Walk], frame: Frame) -> Any:
        machine = self.machine
        sides = []
        for walk, needed in zip(walks, (test, machine.opposite(test)), strict=True):
            start = machine.builder.block
            inside, after = machine.block("lanes"), machine.block("after")
            machine.branch(needed, inside, after)
            machine.builder.position_at_end(inside)
            side = self._walk(walk, frame, guess=True)
            machine.builder.branch(after)
            machine.builder.position_at_end(after)
            sides.append(self._carried(side, start, frame))
        return self._choose_all(test, sides, frame)

    def _fork_flow(self, test: Value, walks: Sequence[Walk], frame: Frame) -> Any:
        machine = self.machine
        starts = machine.block("then"), machine.block("else")
        machine.branch(test, *starts)
        sides = []
        for start, walk in zip(starts, walks, strict=True):
            machine.builder.position_at_end(start)
            sides.append(self._walk(walk, frame, guess=False))
        return self._join_all(sides, frame)

    # -- one side --------------------------------------------------------------

    def _walk(self, walk: Walk, frame: Frame, *, guess: bool) -> _Side:
        machine, memory = self.machine, self.memory
        names, registers = frame.names, memory.registers
        frame.names, memory.registers = dict(names), registers.copy()
        memory.sides += 1
        machine.guessing += guess
        result = walk()
        machine.guessing -= guess
        memory.sides -= 1
        side = _Side(frame.names, memory.registers, result, machine.builder.block)
        frame.names, memory.registers = names, registers
        return side

    def _carried(self, side: _Side, start: Any, frame: Frame) -> _Side:
        """Bring what a side computed out of its block."""

        def carry(new: Any, old: Any) -> Any:
            if not isinstance(new, Value) or new is old:
                return new
            stand_in = self.machine.undefined(new)
            return self.machine.join(new, side.block, stand_in, start)

        before = self.memory.registers.held
        side.names = {
            name: carry(new, frame.names.get(name)) for name, new in side.names.items()
        }
        side.registers.held = {
            key: carry(new, before.get(key))
            for key, new in side.registers.held.items()
            if key in before or key in side.registers.dirty
        }
        side.result = carry(side.result, None)
        return side

    # -- both sides ------------------------------------------------------------

    def _choose_all(self, test: Value, sides: list[_Side], frame: Frame) -> Any:
        """Let each lane choose among what two sides left."""
        dirty = self._written(sides)
        names, keys, pairs = _pairs(sides, lambda key: True)
        chosen = [
            then if _same(then, other) else self.machine.select(test, then, other)
            for then, other in pairs
        ]
        return self._leave(frame, names, keys, dirty, chosen)

    def _join_all(self, sides: list[_Side], frame: Frame) -> Any:
        """Take what the side left that was come from."""
        machine = self.machine
        dirty = self._written(sides, at_ends=True)
        names, keys, pairs = _pairs(sides, dirty.__contains__)
        shapes = [None if _same(*pair) else _shape(*pair) for pair in pairs]
        after = machine.block("after")
        arms: list[list[Any]] = []
        for number, side in enumerate(sides):
            machine.builder.position_at_end(side.block)
            arms.append(
                [
                    pair[number]
                    if shape is None
                    else machine.as_value(pair[number], shape[0], laned=shape[1])
                    for pair, shape in zip(pairs, shapes, strict=True)
                ]
            )
            machine.builder.branch(after)
        machine.builder.position_at_end(after)
        joined = [
            then
            if shape is None
            else machine.join(then, sides[0].block, other, sides[1].block)
            for then, other, shape in zip(*arms, shapes, strict=True)
        ]
        return self._leave(frame, names, keys, dirty, joined)

    def _written(self, sides: list[_Side], *, at_ends: bool = False) -> dict[Key, None]:
        """List what either side wrote, and let both sides hold it."""
        dirty = {**sides[0].registers.dirty, **sides[1].registers.dirty}
        for side in sides:
            if at_ends:
                self.machine.builder.position_at_end(side.block)
            for key in dirty:
                if key not in side.registers.held:
                    side.registers.held[key] = self.memory.read(*key)
        return dirty

    def _leave(
        self,
        frame: Frame,
        names: list[str],
        keys: list[Key],
        dirty: dict[Key, None],
        made: list[Any],
    ) -> Any:
        frame.names = dict(zip(names, made, strict=False))
        held = dict(zip(keys, made[len(names) : -1], strict=True))
        before = self.memory.registers.held
        self.memory.registers = Registers({**before, **held}, dirty)
        return made[-1]


def _pairs(
    sides: list[_Side], wanted: Callable[[Key], bool]
) -> tuple[list[str], list[Key], list[Pair]]:
    """Pair what both sides left: names, elements, and the result."""
    then, other = sides
    names = [
        name
        for name, one in then.names.items()
        if name in other.names and _fit(one, other.names[name])
    ]
    if not _fit(then.result, other.result):
        raise RefusedError("the result is of another kind on one way")
    keys = [k for k in then.registers.held if k in other.registers.held and wanted(k)]
    pairs = [
        *((then.names[name], other.names[name]) for name in names),
        *((then.registers.held[key], other.registers.held[key]) for key in keys),
        (then.result, other.result),
    ]
    return names, keys, pairs


def _fit(then: Any, other: Any) -> bool:
    """Tell whether two things can become one."""
    if _same(then, other):
        return True
    if not (is_number(then) and is_number(other)):
        return False
    return (kind_of(then) == "float") == (kind_of(other) == "float")


def _same(then: Any, other: Any) -> bool:
    if then is other:
        return True
    if isinstance(then, Value) or not is_number(then) or type(then) is not type(other):
        return False
    # Not by ==, for which 0.0 is -0.0.
    return repr(then) == repr(other)


def _shape(then: Any, other: Any) -> tuple[Kind, bool]:
    laned = any(isinstance(one, Value) and one.laned for one in (then, other))
    return common_kind(then, other), laned
