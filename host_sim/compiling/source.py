"""Sources of plain functions as syntax trees, and one call of such a function."""

import ast
import inspect
import textwrap
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from types import CodeType, FunctionType
from typing import Any

from host_sim.compiling.refusal import RefusedError

MODULE_WEIGHT = 10
"""Operations of a function called as a module's: one of `math` takes its time."""


@dataclass(frozen=True, eq=False)
class Source:
    """A plain function as it is written.

    Attributes
    ----------
    file : str
    tree : ast.FunctionDef
        Numbered as the lines of the file.
    parameters : tuple of str
    own : frozenset of str
        Names of the function itself: a global of the same name is hidden.
    world : dict
        Names of its module.
    """

    file: str
    tree: ast.FunctionDef
    parameters: tuple[str, ...]
    own: frozenset[str]
    world: dict[str, Any]


@dataclass
class Frame:
    """One call: what its names stand for just now."""

    source: Source
    names: dict[str, Any]


@cache
def read_source(function: Callable[..., Any]) -> Source:
    """Parse a function.

    Raises
    ------
    RefusedError
        It is not plain, or its source is not at hand.
    """
    if not isinstance(function, FunctionType):
        raise RefusedError(f"{function!r} is no plain function")
    code = function.__code__
    try:
        # Of the code, because that of a function would be what it wraps.
        text = textwrap.dedent(inspect.getsource(code))
    except OSError as error:
        raise RefusedError(f"{function.__qualname__}: {error}") from error
    try:
        tree = ast.parse(text).body[0]
    except SyntaxError:
        tree = ast.Pass()
    ast.increment_lineno(tree, code.co_firstlineno - 1)
    if not isinstance(tree, ast.FunctionDef) or not _is_plain(tree, code):
        why = "only plain functions: parameters by place, no decorator, no closure"
        raise RefusedError(why, f"{code.co_filename}:{code.co_firstlineno}")
    return Source(
        file=code.co_filename,
        tree=tree,
        parameters=tuple(argument.arg for argument in tree.args.args),
        own=frozenset(code.co_varnames),
        world=function.__globals__,
    )


def _is_plain(tree: ast.FunctionDef, code: CodeType) -> bool:
    given = tree.args
    by_name = given.vararg or given.kwarg or given.kwonlyargs or given.posonlyargs
    nested = code.co_freevars or code.co_cellvars
    return not (by_name or nested or tree.decorator_list)


@cache
def returns(node: ast.stmt) -> bool:
    """Tell whether a return stands somewhere in a statement."""
    return any(isinstance(part, ast.Return) for part in ast.walk(node))


def always_returns(side: list[ast.stmt]) -> bool:
    """Tell whether no way leads to the end of some statements."""
    if not side:
        return False
    last = side[-1]
    if isinstance(last, ast.If):
        return always_returns(last.body) and always_returns(last.orelse)
    return isinstance(last, ast.Return)


def assigned(loop: ast.For) -> set[str]:
    """List the names that a loop gives a value to."""
    return {
        part.id
        for part in ast.walk(loop)
        if isinstance(part, ast.Name) and isinstance(part.ctx, ast.Store)
    }


def weight(side: list[ast.stmt], source: Source) -> int:
    """Count the operations of some statements and of what they call.

    Raises
    ------
    RefusedError
        One of them calls itself in the end.
    """
    try:
        return sum(_statement_weight(statement, source) for statement in side)
    except RecursionError:
        raise RefusedError("a function that calls itself") from None


@cache
def _statement_weight(statement: ast.stmt, source: Source) -> int:
    return sum(_operations(node, source.world) for node in ast.walk(statement))


def _operations(node: ast.AST, world: dict[str, Any]) -> int:
    if isinstance(node, ast.BinOp | ast.Compare | ast.Subscript | ast.IfExp):
        return 1
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
        function = world.get(node.func.id)
        if isinstance(function, FunctionType):
            called = read_source(function)
            return weight(called.tree.body, called)
    return MODULE_WEIGHT if isinstance(node, ast.Attribute) else 0
