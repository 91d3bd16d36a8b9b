"""Walk plain functions and write what they do as straight code.

The functions stay as they are: for CPython, MicroPython and the reader. Here their
syntax trees are walked with arguments partly known: calls are followed, loops of
known length unrolled, branches that are settled dropped. A branch that is not
settled is taken by real flow where its sides are long, or both sides are computed
and each lane chooses. Array elements at known places live in registers until a
loop begins or ends.
"""

import ast
import inspect
import math
import textwrap
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cache
from types import FunctionType
from typing import Any

from host_sim.compiling.machine import Kind, Machine, Operand, Value, kind_of

LONG_SIDE = 20
"""From this many operations on, a side of a branch is worth a jump."""

FUNCTIONS: dict[Any, str] = {
    math.sqrt: "llvm.sqrt",
    math.pow: "llvm.pow",
    math.sin: "llvm.sin",
}
SIGNS: dict[type, str] = {
    ast.Lt: "<",
    ast.LtE: "<=",
    ast.Gt: ">",
    ast.GtE: ">=",
    ast.Eq: "==",
    ast.NotEq: "!=",
}


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
    length : int or Value
        Number of elements.
    row : int
        Elements in a row, for two indices.
    known : dict
        Elements known beforehand: the number itself, or a `Value` without code
        that tells its sign.
    """

    place: int
    kind: Kind
    laned: bool
    length: "int | Value" = 0
    row: int = 0
    known: dict[int, float | Value] = field(default_factory=dict)


class Refused(Exception):
    """A construct that straight code does not have."""


@dataclass
class _Memory:
    """Elements in registers, and which of them memory does not have yet."""

    held: dict[tuple[Array, int], Operand] = field(default_factory=dict)
    dirty: set[tuple[Array, int]] = field(default_factory=set)

    def copy(self) -> "_Memory":
        return _Memory(dict(self.held), set(self.dirty))


@dataclass
class _Frame:
    """One call: its names, and the module that it lives in."""

    names: dict[str, Any]
    world: dict[str, Any]


@dataclass
class _Side:
    """What one side of a branch left."""

    names: dict[str, Any]
    memory: _Memory
    result: Any
    block: Any


class Straightener:
    """Writes one function, and all that it calls, into a machine."""

    def __init__(self, machine: Machine) -> None:
        self.machine = machine
        self._memory = _Memory()
        self._depth = 0

    def call(self, function: FunctionType, arguments: Sequence[Any]) -> Any:
        """Follow a call; return its result, or None."""
        tree = _tree(function)
        names = dict(zip((a.arg for a in tree.args.args), arguments, strict=True))
        _, result = self._block(tree.body, _Frame(names, function.__globals__))
        return result

    # -- statements ------------------------------------------------------------

    def _block(self, statements: list[ast.stmt], frame: _Frame) -> tuple[bool, Any]:
        """Walk statements; tell whether they returned, and what."""
        for place, statement in enumerate(statements):
            if isinstance(statement, ast.Return):
                value = statement.value
                return True, None if value is None else self._value(value, frame)
            if isinstance(statement, ast.If):
                rest = statements[place + 1 :]
                if _returns(statement):
                    return True, self._if(statement, rest, frame)
                self._if(statement, [], frame)
            else:
                self._statement(statement, frame)
        return False, None

    def _statement(self, statement: ast.stmt, frame: _Frame) -> None:
        match statement:
            case ast.Expr(value=ast.Constant()):
                pass
            case ast.Expr(value=ast.Call() as call):
                self._value(call, frame)
            case ast.Assign(
                targets=[ast.Tuple(elts=targets)], value=ast.Tuple() as new
            ):
                values = [self._value(part, frame) for part in new.elts]
                for target, value in zip(targets, values, strict=True):
                    self._assign(target, value, frame)
            case ast.Assign(targets=[target]):
                self._assign(target, self._value(statement.value, frame), frame)
            case ast.AugAssign(target=target):
                reading = ast.parse(ast.unparse(target), mode="eval").body
                old = self._value(reading, frame)
                added = self._value(statement.value, frame)
                new = self._arithmetic(statement.op, old, added)
                self._assign(target, new, frame)
            case ast.For(target=ast.Name(id=name), orelse=[]):
                self._for(statement, name, frame)
            case _:
                raise Refused(ast.unparse(statement))

    def _assign(self, target: ast.expr, new: Any, frame: _Frame) -> None:
        match target:
            case ast.Name(id=name):
                frame.names[name] = new
            case ast.Subscript():
                array, index = self._element(target, frame)
                self._store(array, index, new)
            case _:
                raise Refused(ast.unparse(target))

    def _for(self, loop: ast.For, name: str, frame: _Frame) -> None:
        match loop.iter:
            case ast.Call(func=ast.Name(id="range"), args=[last]):
                count = self._value(last, frame)
            case _:
                raise Refused(ast.unparse(loop.iter))
        if isinstance(count, int):
            for number in range(count):
                frame.names[name] = number
                if self._block(loop.body, frame)[0]:
                    raise Refused(f"return in a loop: {ast.unparse(loop)}")
            return
        if self._depth:
            raise Refused(f"an open loop in a branch: {ast.unparse(loop)}")
        before = dict(frame.names)

        def body(running: Value) -> None:
            frame.names[name] = running
            self._block(loop.body, frame)
            self.flush()

        self.flush()
        self.machine.loop(count, body)
        frame.names = before

    # -- branches --------------------------------------------------------------

    def _if(self, branch: ast.If, rest: list[ast.stmt], frame: _Frame) -> Any:
        """Walk a branch; the rest of the block joins the sides that return."""
        sides = [
            [*side, *(rest if not _always_returns(side) else [])]
            for side in (branch.body, branch.orelse)
        ]
        test = self._truth(self._value(branch.test, frame))
        if isinstance(test, bool):
            return self._block(sides[0 if test else 1], frame)[1]
        walks = [self._walker(side, frame) for side in sides]
        long = [_weight(side, frame.world) >= LONG_SIDE for side in sides]
        return self._fork(test, walks, any(long), frame)

    def _walker(self, side: list[ast.stmt], frame: _Frame) -> Callable[[], Any]:
        return lambda: self._block(side, frame)[1]

    def _fork(
        self, test: Value, walks: list[Callable[[], Any]], jump: bool, frame: _Frame
    ) -> Any:
        if not jump:
            sides = [self._walk(walk, frame) for walk in walks]
            return self._merge(test, sides, frame, selecting=True)
        if test.laned:
            return self._fork_lanes(test, walks, frame)
        machine = self.machine
        then, other, after = (machine.block(n) for n in ("then", "else", "after"))
        machine.builder.cbranch(test.code, then, other)
        sides = []
        for block, walk in zip((then, other), walks, strict=True):
            machine.builder.position_at_end(block)
            sides.append(self._walk(walk, frame))
        return self._merge(test, sides, frame, selecting=False, after=after)

    def _fork_lanes(
        self, test: Value, walks: list[Callable[[], Any]], frame: _Frame
    ) -> Any:
        """Skip a side that no lane takes; then each lane chooses."""
        machine = self.machine
        sides = []
        for walk, needed in zip(walks, (test, machine.opposite(test)), strict=True):
            start = machine.builder.block
            inside, after = machine.block("lanes"), machine.block("after")
            machine.builder.cbranch(machine.any_lane(needed), inside, after)
            machine.builder.position_at_end(inside)
            side = self._walk(walk, frame)
            machine.builder.branch(after)
            machine.builder.position_at_end(after)
            sides.append(self._carried(side, start, frame))
        return self._merge(test, sides, frame, selecting=True)

    def _carried(self, side: _Side, start: Any, frame: _Frame) -> _Side:
        """Bring what a side computed out of its block."""

        def carry(new: Any, old: Any) -> Any:
            if not isinstance(new, Value) or new is old:
                return new
            return self.machine.join(
                new, side.block, self.machine.undefined(new), start
            )

        before = self._memory.held
        side.names = {
            name: carry(new, frame.names.get(name)) for name, new in side.names.items()
        }
        side.memory.held = {
            key: carry(new, before.get(key))
            for key, new in side.memory.held.items()
            if key in before or key in side.memory.dirty
        }
        side.result = carry(side.result, None)
        return side

    def _walk(self, walk: Callable[[], Any], frame: _Frame) -> _Side:
        names, memory = frame.names, self._memory
        frame.names, self._memory = dict(names), memory.copy()
        self._depth += 1
        result = walk()
        self._depth -= 1
        side = _Side(frame.names, self._memory, result, self.machine.builder.block)
        frame.names, self._memory = names, memory
        return side

    def _merge(
        self,
        test: Value,
        sides: list[_Side],
        frame: _Frame,
        *,
        selecting: bool,
        after: Any = None,
    ) -> Any:
        """Join what two sides left: names, elements, result."""
        then, other = sides
        dirty = then.memory.dirty | other.memory.dirty
        for side in sides:
            if not selecting:
                self.machine.builder.position_at_end(side.block)
            for array, place in dirty:
                if (array, place) not in side.memory.held:
                    side.memory.held[array, place] = self._read(array, place)
        common = [n for n in then.names if n in other.names]
        keys = [
            key
            for key in then.memory.held
            if key in other.memory.held and (selecting or key in dirty)
        ]
        pairs = [
            *((then.names[n], other.names[n]) for n in common),
            *((then.memory.held[k], other.memory.held[k]) for k in keys),
            (then.result, other.result),
        ]
        if selecting:
            merged = [self._choose(test, a, b) for a, b in pairs]
        else:
            merged = self._joined(pairs, sides, after)
        frame.names = dict(zip(common, merged, strict=False))
        held = dict(zip(keys, merged[len(common) : -1], strict=True))
        self._memory.held = {**self._memory.held, **held}
        self._memory.dirty = dirty
        return merged[-1]

    def _choose(self, test: Value, then: Any, other: Any) -> Any:
        if _same(then, other):
            return then
        return self.machine.select(test, then, other)

    def _joined(
        self, pairs: list[tuple[Any, Any]], sides: list[_Side], after: Any
    ) -> list[Any]:
        machine = self.machine
        kinds = [
            None
            if _same(a, b)
            else (
                "float"
                if "float" in {kind_of(a), kind_of(b)}
                else kind_of(a)
                if kind_of(a) == kind_of(b)
                else "int",
                any(isinstance(o, Value) and o.laned for o in (a, b)),
            )
            for a, b in pairs
        ]
        arms: list[list[Any]] = []
        for number, side in enumerate(sides):
            machine.builder.position_at_end(side.block)
            arms.append(
                [
                    pair[number]
                    if shape is None
                    else machine.as_value(pair[number], shape[0], laned=shape[1])
                    for pair, shape in zip(pairs, kinds, strict=True)
                ]
            )
            machine.builder.branch(after)
        machine.builder.position_at_end(after)
        return [
            a if shape is None else machine.join(a, sides[0].block, b, sides[1].block)
            for a, b, shape in zip(*arms, kinds, strict=True)
        ]

    # -- memory ----------------------------------------------------------------

    def flush(self) -> None:
        """Write to memory what only registers have; forget the rest."""
        for array, place in self._memory.dirty:
            if array.place >= 0:
                held = self._memory.held[array, place]
                self.machine.store(
                    array.place, place, array.kind, held, laned=array.laned
                )
        self._memory = _Memory()

    def _element(self, node: ast.Subscript, frame: _Frame) -> tuple[Array, Operand]:
        array = self._value(node.value, frame)
        if not isinstance(array, Array):
            raise Refused(ast.unparse(node))
        if isinstance(node.slice, ast.Tuple):
            row, column = (self._value(part, frame) for part in node.slice.elts)
            first = self._arithmetic(ast.Mult(), row, array.row)
            return array, self._arithmetic(ast.Add(), first, column)
        return array, self._value(node.slice, frame)

    def _load(self, array: Array, index: Operand) -> Operand:
        if isinstance(index, Value):
            self._settle(array)
            # In a lane that did not come this way, the index may be anything.
            if index.laned:
                last = self._arithmetic(ast.Sub(), array.length, 1)
                index = self._extreme("<", self._extreme(">", index, 0), last)
            return self.machine.load(array.place, index, array.kind, laned=array.laned)
        key = (array, int(index))
        if key not in self._memory.held:
            self._memory.held[key] = self._read(array, int(index))
        return self._memory.held[key]

    def _read(self, array: Array, place: int) -> Operand:
        known = array.known.get(place)
        if known is not None and not isinstance(known, Value):
            return known
        if array.place < 0:
            raise Refused(f"scratch element {place} is read before it is written")
        one = self.machine.load(array.place, place, array.kind, laned=array.laned)
        return Value(one.kind, one.laned, one.code, known.sign if known else 0)

    def _store(self, array: Array, index: Operand, new: Operand) -> None:
        if isinstance(index, Value):
            self._settle(array)
            self._forget(array)
            self.machine.store(array.place, index, array.kind, new, laned=array.laned)
            return
        if not isinstance(new, Value):
            new = float(new) if array.kind == "float" else int(new)
        elif new.kind != array.kind:
            new = self.machine.as_value(new, array.kind, laned=new.laned)
        key = (array, int(index))
        self._memory.held[key] = new
        self._memory.dirty.add(key)

    def _settle(self, array: Array) -> None:
        """Let memory have all elements of an array before one is addressed."""
        waiting = [key for key in self._memory.dirty if key[0] is array]
        if waiting and self._depth:
            raise Refused("an open index into an array that a branch has written")
        for key in waiting:
            held = self._memory.held[key]
            self.machine.store(array.place, key[1], array.kind, held, laned=array.laned)
            self._memory.dirty.remove(key)

    def _forget(self, array: Array) -> None:
        if self._depth:
            raise Refused("an open index is written in a branch")
        held = self._memory.held
        self._memory.held = {k: v for k, v in held.items() if k[0] is not array}

    # -- expressions -----------------------------------------------------------

    def _value(self, node: ast.expr, frame: _Frame) -> Any:
        match node:
            case ast.Constant(value=number):
                return number
            case ast.Name(id=name):
                if name in frame.names:
                    return frame.names[name]
                return frame.world[name] if name in frame.world else BUILTINS[name]
            case ast.Attribute(value=ast.Name(id=module), attr=name):
                return getattr(frame.world[module], name)
            case ast.Subscript(value=ast.Name(id=name)) if isinstance(
                frame.names.get(name), tuple
            ):
                return frame.names[name][self._value(node.slice, frame)]
            case ast.Subscript():
                return self._load(*self._element(node, frame))
            case ast.BinOp():
                left, right = (self._value(n, frame) for n in (node.left, node.right))
                return self._arithmetic(node.op, left, right)
            case ast.UnaryOp():
                return self._unary(node, frame)
            case ast.BoolOp():
                return self._boolean(node, frame)
            case ast.Compare():
                return self._comparison(node, frame)
            case ast.IfExp():
                return self._conditional(node, frame)
            case ast.Call():
                return self._call(node, frame)
        raise Refused(ast.unparse(node))

    def _arithmetic(self, operator: ast.operator, left: Any, right: Any) -> Any:
        name = type(operator).__name__
        if not isinstance(left, Value) and not isinstance(right, Value):
            return PYTHON[name](left, right)
        return self.machine.arithmetic(name, left, right)

    def _unary(self, node: ast.UnaryOp, frame: _Frame) -> Any:
        operand = self._value(node.operand, frame)
        if isinstance(node.op, ast.Not):
            truth = self._truth(operand)
            if isinstance(truth, bool):
                return not truth
            return self.machine.opposite(truth)
        if not isinstance(node.op, ast.USub):
            raise Refused(ast.unparse(node))
        if isinstance(operand, Value):
            return self.machine.negate(operand)
        return -operand

    def _truth(self, operand: Any) -> Any:
        if isinstance(operand, Value):
            return self.machine.as_value(operand, "bool", laned=operand.laned)
        return bool(operand)

    def _boolean(self, node: ast.BoolOp, frame: _Frame) -> Any:
        settling = isinstance(node.op, ast.Or)
        result: Any = not settling
        for part in node.values:
            truth = self._truth(self._value(part, frame))
            if isinstance(truth, bool):
                if truth == settling:
                    return settling
            elif isinstance(result, bool):
                result = truth
            elif settling:
                result = self.machine.select(result, True, truth)
            else:
                result = self.machine.select(result, truth, False)
        return result

    def _comparison(self, node: ast.Compare, frame: _Frame) -> Any:
        operands = [self._value(n, frame) for n in (node.left, *node.comparators)]
        result: Any = True
        for left, operator, right in zip(
            operands, node.ops, operands[1:], strict=False
        ):
            truth = self._compare(SIGNS[type(operator)], left, right)
            if isinstance(truth, bool):
                if not truth:
                    return False
            elif isinstance(result, bool):
                result = truth
            else:
                result = self.machine.select(result, truth, False)
        return result

    def _compare(self, sign: str, left: Any, right: Any) -> Any:
        if isinstance(left, Value) and left.sign and right == 0:
            return COMPARE[sign](left.sign, 0)
        if not isinstance(left, Value) and not isinstance(right, Value):
            return COMPARE[sign](left, right)
        return self.machine.compare(sign, left, right)

    def _conditional(self, node: ast.IfExp, frame: _Frame) -> Any:
        test = self._truth(self._value(node.test, frame))
        if isinstance(test, bool):
            return self._value(node.body if test else node.orelse, frame)
        walks: list[Callable[[], Any]] = [
            lambda: self._value(node.body, frame),
            lambda: self._value(node.orelse, frame),
        ]
        return self._fork(test, walks, False, frame)

    def _call(self, node: ast.Call, frame: _Frame) -> Any:
        function = self._value(node.func, frame)
        given: list[Any] = []
        for argument in node.args:
            if isinstance(argument, ast.Starred):
                given.extend(self._value(argument.value, frame))
            else:
                given.append(self._value(argument, frame))
        if isinstance(function, FunctionType):
            return self.call(function, given)
        if function is len:
            return given[0].length
        if not any(isinstance(argument, Value) for argument in given):
            return function(*given)
        if function in (int, float):
            kind: Kind = "int" if function is int else "float"
            return self.machine.as_value(given[0], kind, laned=given[0].laned)
        if function in (min, max):
            best = given[0]
            for other in given[1:]:
                best = self._extreme("<" if function is min else ">", best, other)
            return best
        if function is abs:
            if given[0].kind == "float":
                return self.machine.call("llvm.fabs", given, "float")
            return self._extreme(">", given[0], self.machine.negate(given[0]))
        if function is math.floor:
            # Still a float64: its numbers are whole, and exact.
            return self.machine.call("llvm.floor", given, "float")
        if function in FUNCTIONS:
            values = self.machine.together(given, "float")
            return self.machine.call(FUNCTIONS[function], values, "float")
        raise Refused(ast.unparse(node))

    def _extreme(self, sign: str, best: Any, other: Any) -> Any:
        """Python's min or max: the later one only where it is beyond."""
        beyond = self._compare(sign, other, best)
        if isinstance(beyond, bool):
            return other if beyond else best
        return self.machine.select(beyond, other, best)


PYTHON: dict[str, Callable[[Any, Any], Any]] = {
    "Add": lambda a, b: a + b,
    "Sub": lambda a, b: a - b,
    "Mult": lambda a, b: a * b,
    "Div": lambda a, b: a / b,
    "FloorDiv": lambda a, b: a // b,
    "LShift": lambda a, b: a << b,
    "RShift": lambda a, b: a >> b,
    "BitAnd": lambda a, b: a & b,
    "BitOr": lambda a, b: a | b,
    "Mod": lambda a, b: a % b,
    "Pow": lambda a, b: a**b,
}
COMPARE: dict[str, Callable[[Any, Any], bool]] = {
    "<": lambda a, b: a < b,
    "<=": lambda a, b: a <= b,
    ">": lambda a, b: a > b,
    ">=": lambda a, b: a >= b,
    "==": lambda a, b: a == b,
    "!=": lambda a, b: a != b,
}
BUILTINS: dict[str, Any] = {
    function.__name__: function for function in (abs, float, int, len, max, min, range)
}


def _same(then: Any, other: Any) -> bool:
    if then is other:
        return True
    if isinstance(then, Value) or isinstance(other, Value):
        return False
    return type(then) is type(other) and then == other


@cache
def _tree(function: FunctionType) -> ast.FunctionDef:
    tree = ast.parse(textwrap.dedent(inspect.getsource(function))).body[0]
    assert isinstance(tree, ast.FunctionDef)
    return tree


def _returns(node: ast.AST) -> bool:
    return any(isinstance(part, ast.Return) for part in ast.walk(node))


def _always_returns(side: list[ast.stmt]) -> bool:
    if not side:
        return False
    last = side[-1]
    if isinstance(last, ast.If):
        return _always_returns(last.body) and _always_returns(last.orelse)
    return isinstance(last, ast.Return)


def _weight(side: list[ast.stmt], world: dict[str, Any]) -> int:
    """Count the operations of some statements and of all that they call."""
    return sum(_operations(node, world) for part in side for node in ast.walk(part))


def _operations(node: ast.AST, world: dict[str, Any]) -> int:
    if isinstance(node, ast.BinOp | ast.Compare | ast.Subscript | ast.IfExp):
        return 1
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
        function = world.get(node.func.id)
        if isinstance(function, FunctionType):
            return _function_weight(function)
    return 10 if isinstance(node, ast.Attribute) else 0


@cache
def _function_weight(function: FunctionType) -> int:
    return _weight(_tree(function).body, function.__globals__)
