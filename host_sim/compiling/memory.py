"""Elements of arrays: in registers while their places are known, else in memory.

An element at a known place is loaded once and written back late: when a loop
begins or ends, or when an index that is open, known only when the code runs,
points into its array.
"""

from dataclasses import dataclass, field

from host_sim.compiling.machine import Machine
from host_sim.compiling.refusal import RefusedError
from host_sim.compiling.values import Operand, Stored, Value, kind_of


@dataclass(eq=False)
class Array:
    """An argument that is an array.

    Parameters
    ----------
    place : int
        Place among the arguments; -1: scratch, kept in registers alone.
    kind : str
        ``"int"`` or ``"float"``.
    laned : bool
        One column for each lane, or one for all.
    length : int, Value or None
        Number of elements; None: nobody told.
    row : int
        Elements in a row, for two indices; 0: one index.
    known : dict
        Elements known beforehand: the number itself, or a `Value` without code
        that tells its sign. Nobody may write them.
    """

    place: int
    kind: Stored
    laned: bool
    length: int | Value | None = None
    row: int = 0
    known: dict[int, float | Value] = field(default_factory=dict)


Key = tuple[Array, int]


@dataclass
class Registers:
    """Elements in registers, and which of them memory still lacks."""

    held: dict[Key, Operand] = field(default_factory=dict)
    dirty: dict[Key, None] = field(default_factory=dict)

    def copy(self) -> "Registers":
        """Return the same elements, to be changed apart."""
        return Registers(dict(self.held), dict(self.dirty))


class Memory:
    """All arrays of a function under construction.

    Attributes
    ----------
    registers : Registers
        What holds at the place where the machine writes.
    sides : int
        Sides of branches that enclose this place.
    """

    def __init__(self, machine: Machine) -> None:
        self.machine = machine
        self.registers = Registers()
        self.sides = 0

    def load(self, array: Array, index: Operand) -> Operand:
        """Read an element."""
        if isinstance(index, Value):
            return self._load_open(array, index)
        key = (array, _place(array, index))
        if key not in self.registers.held:
            self.registers.held[key] = self.read(*key)
        return self.registers.held[key]

    def read(self, array: Array, place: int) -> Operand:
        """Read an element that no register holds."""
        known = array.known.get(place)
        if known is not None and not isinstance(known, Value):
            return float(known) if array.kind == "float" else int(known)
        if array.place < 0:
            raise RefusedError(f"scratch element {place} is read before it is written")
        one = self.machine.load(array.place, place, array.kind, laned=array.laned)
        return Value(one.kind, one.laned, one.code, known.sign if known else 0)

    def store(self, array: Array, index: Operand, new: Operand) -> None:
        """Write an element."""
        laned = isinstance(new, Value) and new.laned
        if laned and not array.laned:
            raise RefusedError("the number differs between lanes, its array does not")
        one = self.machine.as_value(new, array.kind, laned=laned)
        if isinstance(index, Value):
            self._store_open(array, index, one)
            return
        key = (array, _place(array, index))
        if key[1] in array.known:
            raise RefusedError(f"element {key[1]} is known beforehand and written")
        self.registers.held[key] = one if isinstance(new, Value) else _plain(array, new)
        self.registers.dirty[key] = None

    def flush(self) -> None:
        """Write to memory what only registers have; forget the rest."""
        for key in self.registers.dirty:
            self._write_back(key)
        self.registers = Registers()

    def _write_back(self, key: Key) -> None:
        array, place = key
        if array.place >= 0:
            held = self.registers.held[key]
            one = self.machine.as_value(held, array.kind, laned=array.laned)
            self.machine.store(array.place, place, array.kind, one, laned=array.laned)

    # -- open indices ----------------------------------------------------------

    def _load_open(self, array: Array, index: Value) -> Value:
        index = self._settled(array, index)
        if self.machine.guessing:
            index = self._within(array, index)
        return self.machine.load(array.place, index, array.kind, laned=array.laned)

    def _store_open(self, array: Array, index: Value, new: Value) -> None:
        if index.laned:
            raise RefusedError("the place to write differs between lanes")
        if self.sides:
            raise RefusedError("an open index is written in a branch")
        if array.known:
            raise RefusedError("an open index is written where elements are known")
        index = self._settled(array, index)
        held = self.registers.held
        self.registers.held = {k: v for k, v in held.items() if k[0] is not array}
        spread = self.machine.as_value(new, array.kind, laned=array.laned)
        self.machine.store(array.place, index, array.kind, spread, laned=array.laned)

    def _settled(self, array: Array, index: Value) -> Value:
        """Let memory have all of an array before it is addressed."""
        if array.place < 0:
            raise RefusedError("an open index into scratch, which has no memory")
        waiting = [key for key in self.registers.dirty if key[0] is array]
        if waiting and self.sides:
            raise RefusedError("an open index in a branch, after elements were written")
        for key in waiting:
            self._write_back(key)
            del self.registers.dirty[key]
        return self.machine.as_value(index, "int", laned=index.laned)

    def _within(self, array: Array, index: Value) -> Value:
        """Bring an index that nobody may have meant into its array."""
        if array.length is None:
            raise RefusedError("an open index in a branch needs the array's length")
        machine = self.machine
        last: Operand = (
            machine.arithmetic("Sub", array.length, 1)
            if isinstance(array.length, Value)
            else array.length - 1
        )
        index = machine.select(machine.compare(">", index, last), last, index)
        return machine.select(machine.compare("<", index, 0), 0, index)


def _place(array: Array, index: Operand) -> int:
    """Check a known index and count it from the start."""
    if isinstance(index, Value) or kind_of(index) == "float":
        raise RefusedError("an index is a whole number")
    place = int(index)
    if isinstance(array.length, int) and place < 0:
        place += array.length
    if place < 0 or (isinstance(array.length, int) and place >= array.length):
        raise RefusedError(f"index {index} of an array of length {array.length}")
    return place


def _plain(array: Array, new: float) -> float:
    return float(new) if array.kind == "float" else int(new)
