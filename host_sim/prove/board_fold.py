"""The law as a small board takes it: function by function, constants folded.

A board with 16 KB of memory cannot hold the source files. Each function is
parsed here, its private constants become numbers, and what means nothing at
run time goes: docstrings, annotations, imports, long names, and ``int()``
around what is an integer already.
"""

import ast
from dataclasses import dataclass
from itertools import product
from pathlib import Path
from string import ascii_lowercase, ascii_uppercase
from types import ModuleType

from host_sim.law.stages import STAGES

KEPT = ("tick", "reset")


def fold_law() -> list[str]:
    """Fold all functions of the law; only `tick` and `reset` keep their names.

    Returns
    -------
    list of str
        One function each; together they need no import.

    Raises
    ------
    ValueError
        Two functions share a name, so that one namespace cannot hold them.

    >>> print(fold_law()[4])
    def aE(a, b, c, d):
     e = c[d] + a[b]
     a[b] = e & 16383
     return e >> 14
    """
    functions = [
        (module, part)
        for module in STAGES
        for part in ast.parse(Path(str(module.__file__)).read_text()).body
        if isinstance(part, ast.FunctionDef) and part.name != "const"
    ]
    names = _short_names([function.name for _, function in functions])
    return [
        _fold(function, _constants(module), names) for module, function in functions
    ]


@dataclass(frozen=True)
class Pieces:
    """The folded law in the order in which a small board can take it.

    Attributes
    ----------
    names : str
        Source that makes all their names. To be sent first, for a name space that
        grows late finds no room in one piece.
    functions : list of str
        All but `tick`, the longest first: while a heap is in one piece it can hold
        what parsing a long one needs.
    stages : str
        Source of a tuple of what `tick` calls.
    rest : str
        What `tick` does after these calls.
    """

    names: str
    functions: list[str]
    stages: str
    rest: str


def fold_in_pieces() -> Pieces:
    """Fold the law, with `tick` taken apart.

    The longest chain of calls below `tick` leaves no room on a small board's stack
    for `tick` itself, so a loop there runs the stages.

    Raises
    ------
    ValueError
        `tick` does something else before its last stage.

    >>> fold_in_pieces().stages[:10]
    'stages = ('
    """
    folded = fold_law()
    (tick,) = (function for function in folded if function.startswith("def tick("))
    folded.remove(tick)
    (parsed,) = ast.parse(tick).body
    assert isinstance(parsed, ast.FunctionDef)
    body = [ast.unparse(part) for part in parsed.body]
    calls = [part for part in body if part.endswith("(a, b)")]
    if body[: len(calls)] != calls:
        raise ValueError(f"a stage comes late in tick: {tick}")
    names = ["stages", *(part.split("(")[0].removeprefix("def ") for part in folded)]
    stages = ", ".join(call.removesuffix("(a, b)") for call in calls)
    return Pieces(
        names=" = ".join(names) + " = None\n",
        functions=sorted(folded, key=len, reverse=True),
        stages=f"stages = ({stages})\n",
        rest="\n".join(body[len(calls) :]).replace("    ", " "),
    )


def _short_names(names: list[str]) -> dict[str, str]:
    if len(set(names)) < len(names):
        raise ValueError(f"a name is used twice: {sorted(names)}")
    pairs = ("".join(pair) for pair in product(ascii_lowercase, ascii_uppercase))
    short = dict(zip(names, pairs, strict=False))
    return short | {name: name for name in KEPT}


def _constants(module: ModuleType) -> dict[str, int]:
    return {
        name: number
        for name, number in vars(module).items()
        if name.startswith("_") and isinstance(number, int)
    }


def _fold(
    function: ast.FunctionDef, constants: dict[str, int], functions: dict[str, str]
) -> str:
    names = [argument.arg for argument in function.args.args]
    names += [
        node.id
        for node in ast.walk(function)
        if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store)
    ]
    local = dict(zip(dict.fromkeys(names), ascii_lowercase, strict=False))
    function.name, function.returns = functions[function.name], None
    if ast.get_docstring(function) is not None:
        function.body = function.body[1:]
    _Fold(constants, functions | local).visit(function)
    return ast.unparse(function).replace("    ", " ")


class _Fold(ast.NodeTransformer):
    def __init__(self, constants: dict[str, int], names: dict[str, str]) -> None:
        self.constants = constants
        self.names = names

    def visit_arg(self, node: ast.arg) -> ast.arg:
        return ast.arg(self.names[node.arg])

    def visit_Name(self, node: ast.Name) -> ast.expr:
        if node.id in self.constants:
            return ast.Constant(self.constants[node.id])
        return ast.Name(self.names.get(node.id, node.id), node.ctx)

    def visit_Call(self, node: ast.Call) -> ast.expr:
        self.generic_visit(node)
        is_int = isinstance(node.func, ast.Name) and node.func.id == "int"
        return node.args[0] if is_int else node
