"""The modules of the law, read and put together as one C file."""

import ast
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from firmware_model.law import layout
from host_sim.law.stages import STAGES
from host_sim.prove.c99_expressions import (
    ARRAYS,
    Scope,
    Signature,
    constant_symbol,
    refuse,
)
from host_sim.prove.c99_functions import comment, declare, write_function

MODULES = tuple(stage.__name__.rpartition(".")[2] for stage in STAGES)
PUBLIC = {"tick": "law_tick", "reset": "law_reset"}
_SLOTS = {
    row[0]: slot
    for table in (layout.STATE, layout.PARAMETERS)
    for slot, row in enumerate(table)
}
_TOP = """\
/*
 * The control law, generated from its source; regenerate instead of editing.
 *
 * C99 with nothing but stdint.h. Every intermediate fits in 31 bits; `>>` and
 * `/` are defined for what C leaves open; nothing is allocated or kept between
 * calls but the caller's two arrays.
 */
#include "law.h"

/* The constants that are no slots. */
"""
_HELPERS = """
/* value * 2**bits, also of a negative value. */
static inline int32_t shift_left(int32_t value, int32_t bits)
{
    return value * (INT32_C(1) << bits);
}

/* Floor of value / 2**bits: C leaves `>>` of a negative value to the compiler. */
static inline int32_t shift_right(int32_t value, int32_t bits)
{
    return value >= 0 ? value >> bits : ~(~value >> bits);
}

/* Floor of value / divisor, divisor > 0: C rounds toward zero. */
static inline int32_t floor_divide(int32_t value, int32_t divisor)
{
    return value >= 0 ? value / divisor : ~(~value / divisor);
}
"""


@dataclass(frozen=True)
class Module:
    """One file of the law.

    Attributes
    ----------
    file : str
    tree : ast.Module
    constants : dict
    functions : list of ast.FunctionDef
    """

    file: str
    tree: ast.Module
    constants: dict[str, int]
    functions: list[ast.FunctionDef]


def write_law(folder: Path) -> str:
    """Write law.c from the modules of the law.

    Parameters
    ----------
    folder : Path
        Where the law's source stands.

    Returns
    -------
    str

    Raises
    ------
    InputError
        Something in it is not known, with file and line.
    """
    modules = [read_module(folder / f"{name}.py") for name in MODULES]
    constants = _unite(modules)
    functions = _sign(modules)
    prototypes = [
        f"{declare(signature, public=False)};"
        for name, signature in functions.items()
        if name not in PUBLIC
    ]
    parts = [_TOP + _define(constants) + _HELPERS, "\n".join(prototypes) + "\n"]
    for module in modules:
        title = ast.get_docstring(module.tree) or ""
        parts.append(comment(title, module.file, module.tree))
        for function in module.functions:
            scope = Scope(module.file, constants, functions)
            text = write_function(function, scope, public=function.name in PUBLIC)
            parts.append(text + "\n")
    return "\n".join(parts)


def read_module(path: Path) -> Module:
    """Read one file of the law: its constants and functions.

    Raises
    ------
    InputError
        It holds anything else.
    """
    tree = ast.parse(path.read_text(encoding="utf-8"))
    module = Module(path.name, tree, {}, [])
    for node in tree.body:
        match node:
            case ast.Expr(value=ast.Constant(value=str())):
                pass
            case ast.ImportFrom(module=str(source)) if source.startswith(
                "firmware_model.law."
            ):
                pass
            case ast.Try(body=[ast.ImportFrom(module="micropython")]):
                pass
            case ast.Assign(
                targets=[ast.Name(id=name)],
                value=ast.Call(func=ast.Name(id="const"), args=[argument]),
            ) if name.startswith("_"):
                module.constants[name] = _literal(argument, path.name)
            case ast.FunctionDef():
                module.functions.append(node)
            case _:
                raise refuse(path.name, node, "only constants and functions")
    return module


def _literal(node: ast.expr, file: str) -> int:
    match node:
        case ast.Constant(value=int(number)):
            return number
        case ast.UnaryOp(op=ast.USub(), operand=ast.Constant(value=int(number))):
            return -number
    raise refuse(file, node, "a constant is one literal")


def _unite(modules: Iterable[Module]) -> dict[str, int]:
    constants: dict[str, int] = {}
    for module in modules:
        for name, number in module.constants.items():
            known = _SLOTS.get(name[1:], constants.get(name, number))
            if known != number:
                why = f"{name} is {known} elsewhere; C has one name for both"
                raise refuse(module.file, module.tree.body[0], why)
            constants[name] = number
    return constants


def _define(constants: dict[str, int]) -> str:
    return "".join(
        f"#define {constant_symbol(name)} INT32_C({number})\n"
        for name, number in sorted(constants.items())
        if name[1:] not in _SLOTS
    )


def _sign(modules: Iterable[Module]) -> dict[str, Signature]:
    functions: dict[str, tuple[str, ast.FunctionDef]] = {}
    for module in modules:
        for function in module.functions:
            if function.name in functions:
                raise refuse(module.file, function, "C has one function of a name")
            functions[function.name] = (module.file, function)
    writers = _find_writers(function for _, function in functions.values())
    return {
        name: Signature(
            PUBLIC.get(name, name),
            _parameters(function, file),
            function.returns is not None,
            name in writers,
        )
        for name, (file, function) in functions.items()
    }


def _parameters(function: ast.FunctionDef, file: str) -> tuple[str, ...]:
    given = function.args
    odd = (given.posonlyargs, given.kwonlyargs, given.defaults, given.vararg)
    if any(odd) or given.kwarg or function.decorator_list:
        raise refuse(file, function, "only plain parameters, no decorator")
    for annotation in [part.annotation for part in given.args] + [function.returns]:
        if annotation and ast.unparse(annotation) != "int":
            raise refuse(file, function, "only int is annotated")
    for part in given.args:
        if (part.annotation is None) != (part.arg in ARRAYS):
            raise refuse(file, function, f"{part.arg} is neither a number nor an array")
    return tuple(part.arg for part in given.args)


def _find_writers(functions: Iterable[ast.FunctionDef]) -> set[str]:
    calls: dict[str, set[str]] = {}
    writers: set[str] = set()
    for function in functions:
        calls[function.name] = set()
        for part in ast.walk(function):
            if isinstance(part, ast.Subscript) and isinstance(part.ctx, ast.Store):
                writers.add(function.name)
            if isinstance(part, ast.Call) and isinstance(part.func, ast.Name):
                calls[function.name].add(part.func.id)
    grown = True
    while grown:
        more = {name for name, called in calls.items() if called & writers}
        grown = not more <= writers
        writers |= more
    return writers
