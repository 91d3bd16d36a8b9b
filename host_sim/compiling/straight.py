"""Walk plain functions and write what they do as straight code.

The functions stay as they are: for CPython, MicroPython and the reader. Here their
syntax trees are walked with arguments partly known: calls are followed, loops of
known length unrolled, branches that are settled dropped. What cannot be settled
becomes instructions of a `Machine`; array elements at known places live in
registers (`Memory`); both sides of an open branch are walked, and each name and
element that differs is chosen (`Branches`). What straight code does not have is
refused with file and line.

A loop with two branches in it, of which one is settled while the code is written;
what remains of three turns:

>>> import re
>>> from host_sim.compiling.native import Number, Table, code_of
>>> def fill(table, opening, flow):
...     for k in range(len(table)):
...         if k > 0:
...             table[k] += flow if opening > 0.0 else -flow
>>> arguments = {"table": Table("float", length=3)}
>>> arguments |= {"opening": Number("float"), "flow": Number("float")}
>>> text = code_of(fill, arguments, lanes=1)
>>> print(*re.findall(r"load|store|fcmp|fneg|fadd|select|br", text))
load fcmp fneg select fadd load fcmp fneg select fadd store store

With ``lanes=4`` the same instructions work on four tables at once. The second
comparison is the first one again; LLVM sees that.
"""

import ast
from collections.abc import Callable, Sequence
from typing import Any

from host_sim.compiling.branches import Walk
from host_sim.compiling.expressions import Expressions
from host_sim.compiling.machine import Machine
from host_sim.compiling.refusal import RefusedError
from host_sim.compiling.source import (
    Frame,
    always_returns,
    assigned,
    read_source,
    returns,
    weight,
)
from host_sim.compiling.values import Value

LONG_SIDE = 20
"""From this many operations on, a side that no lane takes is worth a jump."""


class Straightener(Expressions):
    """Writes one function, and all that it calls, into a machine."""

    def __init__(self, machine: Machine) -> None:
        super().__init__(machine)
        self._calls: list[Callable[..., Any]] = []

    def follow(self, function: Callable[..., Any], arguments: Sequence[Any]) -> Any:
        """Follow a call of a plain function; return its result, or None.

        Raises
        ------
        RefusedError
            With file and line of what straight code does not have.
        """
        source = read_source(function)
        if function in self._calls:
            raise RefusedError("a function that calls itself")
        if len(arguments) != len(source.parameters):
            raise RefusedError(f"{function.__name__} takes another number of arguments")
        names = dict(zip(source.parameters, arguments, strict=True))
        self.used.add(function.__module__)
        self._calls.append(function)
        _, result = self._block(source.tree.body, Frame(source, names))
        self._calls.pop()
        return result

    def _block(self, statements: list[ast.stmt], frame: Frame) -> tuple[bool, Any]:
        """Walk statements; tell whether they returned, and what."""
        for place, statement in enumerate(statements):
            rest = statements[place + 1 :]
            try:
                match statement:
                    case ast.Return(value=None | ast.Constant(value=None)):
                        return True, None
                    case ast.Return(value=ast.expr() as node):
                        return True, self.value(node, frame)
                    case ast.If() if returns(statement):
                        return True, self._if(statement, rest, frame)
                    case ast.If():
                        self._if(statement, [], frame)
                    case _:
                        self._statement(statement, frame)
            except RefusedError as error:
                raise error.at(frame.source.file, statement) from None
        return False, None

    def _statement(self, statement: ast.stmt, frame: Frame) -> None:
        match statement:
            case ast.Pass() | ast.Expr(value=ast.Constant()):
                pass
            case ast.Expr(value=ast.Call() as call):
                self.value(call, frame)
            case ast.Assign(
                targets=[ast.Tuple(elts=targets)], value=ast.Tuple(elts=nodes)
            ) if len(targets) == len(nodes):
                values = [self.value(node, frame) for node in nodes]
                for target, new in zip(targets, values, strict=True):
                    self._assign(target, new, frame)
            case ast.Assign(targets=[target], value=node):
                self._assign(target, self.value(node, frame), frame)
            case ast.AugAssign():
                self._change(statement, frame)
            case ast.For(target=ast.Name(id=name), orelse=[]):
                self._for(statement, name, frame)
            case _:
                raise RefusedError(f"unknown statement {type(statement).__name__}")

    def _assign(self, target: ast.expr, new: Any, frame: Frame) -> None:
        match target:
            case ast.Name(id=name):
                frame.names[name] = new
            case ast.Subscript():
                self.memory.store(*self.element(target, frame), new)
            case _:
                raise RefusedError("only names and elements are assigned")

    def _change(self, statement: ast.AugAssign, frame: Frame) -> None:
        """Walk ``target += value``; the target is looked up once, first."""
        match statement.target:
            case ast.Name(id=name):
                old = self.value(statement.target, frame)
                added = self.value(statement.value, frame)
                frame.names[name] = self.arithmetic.apply(statement.op, old, added)
            case ast.Subscript() as target:
                array, index = self.element(target, frame)
                old = self.memory.load(array, index)
                added = self.value(statement.value, frame)
                new = self.arithmetic.apply(statement.op, old, added)
                self.memory.store(array, index, new)
            case _:
                raise RefusedError("only names and elements are changed")

    # -- loops -----------------------------------------------------------------

    def _for(self, loop: ast.For, name: str, frame: Frame) -> None:
        match loop.iter:
            case ast.Call(func=ast.Name() as called, args=[last], keywords=[]) if (
                self.value(called, frame) is range
            ):
                count = self.value(last, frame)
            case _:
                raise RefusedError("only loops over range(count)")
        if any(returns(statement) for statement in loop.body):
            raise RefusedError("a return within a loop")
        if isinstance(count, Value):
            self._repeat(loop, name, count, frame)
        elif type(count) is int:
            for number in range(count):
                frame.names[name] = number
                self._block(loop.body, frame)
        else:
            raise RefusedError("the count is no whole number")

    def _repeat(self, loop: ast.For, name: str, count: Value, frame: Frame) -> None:
        """Write a loop of open count: only elements outlive a turn."""
        if self.memory.sides:
            raise RefusedError("a loop of open count in a branch")
        if count.kind != "int" or count.laned:
            raise RefusedError("the count is no whole number that all lanes share")

        def body(running: Value) -> None:
            _forget(assigned(loop), frame)
            frame.names[name] = running
            self._block(loop.body, frame)
            self.memory.flush()

        self.memory.flush()
        self.machine.loop(count, body)
        _forget(assigned(loop), frame)

    # -- branches --------------------------------------------------------------

    def _if(self, branch: ast.If, rest: list[ast.stmt], frame: Frame) -> Any:
        """Walk a branch; what follows it joins the sides that go on."""
        sides = [
            [*side, *([] if always_returns(side) else rest)]
            for side in (branch.body, branch.orelse)
        ]
        test = self.condition(branch.test, frame)
        if isinstance(test, bool):
            return self._block(sides[0 if test else 1], frame)[1]
        # One loop alone takes one side, and the processor guesses which.
        jump = self.machine.lanes == 1 or any(
            weight(side, frame.source) >= LONG_SIDE for side in sides
        )
        walks = [self._side(side, frame) for side in sides]
        return self.branches.fork(test, walks, frame, jump=jump)

    def _side(self, side: list[ast.stmt], frame: Frame) -> Walk:
        return lambda: self._block(side, frame)[1]


def _forget(names: set[str], frame: Frame) -> None:
    for name in names:
        frame.names.pop(name, None)
