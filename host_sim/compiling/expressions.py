"""Values of expressions, partly known beforehand, partly written as instructions."""

import ast
import math
from abc import ABC, abstractmethod
from collections.abc import Callable, Sequence
from types import FunctionType, ModuleType
from typing import Any

from host_sim.compiling.arithmetic import FUNCTIONS, Arithmetic, number
from host_sim.compiling.branches import Branches
from host_sim.compiling.machine import Machine
from host_sim.compiling.memory import Array, Memory
from host_sim.compiling.refusal import RefusedError
from host_sim.compiling.source import Frame
from host_sim.compiling.values import Operand, Value

BUILTINS: dict[str, Any] = {
    function.__name__: function
    for function in (*FUNCTIONS, len, range)
    if function.__module__ == "builtins"
}

Way = Callable[["Expressions", Any, Frame], Any]
"""How a kind of expression is read."""


class Expressions(ABC):
    """Finds what expressions are worth where a machine writes.

    Attributes
    ----------
    used : set of str
        Modules whose functions were followed, or whose names were asked for.
    """

    def __init__(self, machine: Machine) -> None:
        self.machine = machine
        self.arithmetic = Arithmetic(machine)
        self.memory = Memory(machine)
        self.branches = Branches(machine, self.memory)
        self.used: set[str] = set()

    @abstractmethod
    def follow(self, function: Callable[..., Any], arguments: Sequence[Any]) -> Any:
        """Follow a call of a plain function; return its result, or None."""

    def value(self, node: ast.expr, frame: Frame) -> Any:
        """Find what an expression stands for.

        Raises
        ------
        RefusedError
            With the place of the innermost expression that straight code lacks.
        """
        way: Way = WAYS.get(type(node), _refuse)
        try:
            return way(self, node, frame)
        except RefusedError as error:
            raise error.at(frame.source.file, node) from None

    # -- names and elements ----------------------------------------------------

    def _constant(self, node: ast.Constant, frame: Frame) -> Any:
        return number(node.value)

    def _name(self, node: ast.Name, frame: Frame) -> Any:
        name, world = node.id, frame.source.world
        if name in frame.names:
            return frame.names[name]
        if name in frame.source.own:
            why = "no value, or none of one kind, on every way to this place"
            raise RefusedError(why)
        if name not in world and name not in BUILTINS:
            raise RefusedError("unknown name")
        return world[name] if name in world else BUILTINS[name]

    def _attribute(self, node: ast.Attribute, frame: Frame) -> Any:
        module = self.value(node.value, frame)
        if not isinstance(module, ModuleType) or not hasattr(module, node.attr):
            raise RefusedError("only modules have attributes here")
        self.used.add(module.__name__)
        return getattr(module, node.attr)

    def _subscript(self, node: ast.Subscript, frame: Frame) -> Any:
        several = self.value(node.value, frame)
        if not isinstance(several, tuple):
            return self.memory.load(*self.element(node, frame))
        index = self.value(node.slice, frame)
        if type(index) is not int or not 0 <= index < len(several):
            raise RefusedError("which of several is not known beforehand")
        return several[index]

    def element(self, node: ast.Subscript, frame: Frame) -> tuple[Array, Operand]:
        """Find the array and the index of an element."""
        array = self.value(node.value, frame)
        if not isinstance(array, Array):
            raise RefusedError("only arrays that are arguments have elements")
        if not array.row:
            return array, self.value(node.slice, frame)
        if not isinstance(node.slice, ast.Tuple) or len(node.slice.elts) != 2:
            raise RefusedError("an array with rows takes two indices")
        row, column = (self.value(part, frame) for part in node.slice.elts)
        for index, end in ((row, math.inf), (column, array.row)):
            if not isinstance(index, Value) and not 0 <= number(index) < end:
                raise RefusedError(f"index {index} outside the row or the array")
        first = self.arithmetic.apply(ast.Mult(), row, array.row)
        return array, self.arithmetic.apply(ast.Add(), first, column)

    # -- numbers and truths ----------------------------------------------------

    def _operation(self, node: ast.BinOp, frame: Frame) -> Any:
        left, right = (self.value(side, frame) for side in (node.left, node.right))
        return self.arithmetic.apply(node.op, left, right)

    def _unary(self, node: ast.UnaryOp, frame: Frame) -> Any:
        if isinstance(node.op, ast.Not):
            return self.condition(node, frame)
        if not isinstance(node.op, ast.USub):
            raise RefusedError(f"no operator {type(node.op).__name__}")
        return self.arithmetic.negate(self.value(node.operand, frame))

    def _boolean(self, node: ast.BoolOp, frame: Frame) -> Any:
        if not _is_truth(node):
            raise RefusedError("Python gives one of the operands, no truth")
        return self.condition(node, frame)

    def _comparison(self, node: ast.Compare, frame: Frame) -> Any:
        left = self.value(node.left, frame)
        links = list(zip(node.ops, node.comparators, strict=True))
        return self._links(left, links, frame)

    def _links(
        self, left: Any, links: list[tuple[ast.cmpop, ast.expr]], frame: Frame
    ) -> Any:
        """Compare along a chain; a link that fails ends it."""
        (operator, node), *others = links
        right = self.value(node, frame)
        truth = self.arithmetic.compare(operator, left, right)
        if not others:
            return truth
        return self._unless(
            truth, False, lambda: self._links(right, others, frame), frame
        )

    def condition(self, node: ast.expr, frame: Frame) -> Any:
        """Find whether an expression is true: a `bool`, or such a value."""
        match node:
            case ast.BoolOp(op=operator, values=parts):
                return self._parts(parts, isinstance(operator, ast.Or), frame)
            case ast.UnaryOp(op=ast.Not(), operand=operand):
                truth = self.condition(operand, frame)
                if isinstance(truth, bool):
                    return not truth
                return self.machine.opposite(truth)
        return self.arithmetic.truth(self.value(node, frame))

    def _parts(self, parts: list[ast.expr], settling: bool, frame: Frame) -> Any:
        first, *others = parts
        truth = self.condition(first, frame)
        if not others:
            return truth
        return self._unless(
            truth, settling, lambda: self._parts(others, settling, frame), frame
        )

    def _unless(
        self, truth: Any, settling: bool, rest: Callable[[], Any], frame: Frame
    ) -> Any:
        """Ask for the rest of a condition where its start leaves it open."""
        if isinstance(truth, bool):
            return truth if truth is settling else rest()
        walks = (lambda: True, rest) if settling else (rest, lambda: False)
        return self.branches.fork(truth, walks, frame, jump=False)

    def _conditional(self, node: ast.IfExp, frame: Frame) -> Any:
        test = self.condition(node.test, frame)
        if isinstance(test, bool):
            return self.value(node.body if test else node.orelse, frame)
        walks = (
            lambda: self.value(node.body, frame),
            lambda: self.value(node.orelse, frame),
        )
        return self.branches.fork(test, walks, frame, jump=False)

    # -- calls -----------------------------------------------------------------

    def _call(self, node: ast.Call, frame: Frame) -> Any:
        if node.keywords:
            raise RefusedError("arguments are given by place")
        function = self.value(node.func, frame)
        given: list[Any] = []
        for argument in node.args:
            if isinstance(argument, ast.Starred):
                several = self.value(argument.value, frame)
                if not isinstance(several, tuple):
                    raise RefusedError("only an argument that is a tuple is unpacked")
                given.extend(several)
            else:
                given.append(self.value(argument, frame))
        if isinstance(function, FunctionType):
            return self.follow(function, given)
        if function is len and len(given) == 1:
            return _length(given[0])
        return self.arithmetic.call(function, given)


def _length(array: Any) -> int | Value:
    if not isinstance(array, Array) or array.length is None or array.row:
        raise RefusedError("a length that nobody told")
    return array.length


def _is_truth(node: ast.expr) -> bool:
    """Tell whether an expression gives True or False, nothing else."""
    match node:
        case ast.BoolOp(values=parts):
            return all(_is_truth(part) for part in parts)
        case ast.Compare() | ast.UnaryOp(op=ast.Not()) | ast.Constant(value=bool()):
            return True
    return False


def _refuse(_: Expressions, node: ast.expr, __: Frame) -> Any:
    raise RefusedError(f"unknown expression {type(node).__name__}")


WAYS: dict[type[ast.expr], Way] = {
    ast.Attribute: Expressions._attribute,
    ast.BinOp: Expressions._operation,
    ast.BoolOp: Expressions._boolean,
    ast.Call: Expressions._call,
    ast.Compare: Expressions._comparison,
    ast.Constant: Expressions._constant,
    ast.IfExp: Expressions._conditional,
    ast.Name: Expressions._name,
    ast.Subscript: Expressions._subscript,
    ast.UnaryOp: Expressions._unary,
}
