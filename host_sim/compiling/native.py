"""A plain function as machine code for this computer, kept on disk."""

import ctypes
import hashlib
import inspect
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from types import FunctionType, ModuleType
from typing import Any

import llvmlite
import llvmlite.binding as llvm

from host_sim.compiling import cache, emit
from host_sim.compiling.refusal import RefusedError
from host_sim.compiling.signature import (
    AnyArray,
    Names,
    Number,
    NumberCheck,
    Part,
    Signature,
    Table,
    TableCheck,
    check_apart,
    passed_parts,
)
from host_sim.compiling.values import Stored

__all__ = ["Native", "Number", "Part", "Table", "code_of", "compile_native"]

C_TYPES: dict[Stored, Any] = {"int": ctypes.c_int32, "float": ctypes.c_double}
_OWN_FILES = sorted(Path(__file__).parent.glob("*.py"))


class Native:
    """Machine code of one function.

    Parameters
    ----------
    code : bytes
        Object file.
    signature : mapping
        As given to `compile_native`.
    lanes : int
        Loops side by side.
    """

    def __init__(self, code: bytes, signature: Signature, lanes: int) -> None:
        self._kept = llvm.create_mcjit_compiler(llvm.parse_assembly(""), emit.target())
        self._kept.add_object_file(llvm.ObjectFileRef.from_data(code))
        self._kept.finalize_object()
        self._parts: list[tuple[Names, NumberCheck | TableCheck]] = []
        types: list[Any] = []
        for names, part in passed_parts(signature):
            label = " ".join(names).rstrip()
            if isinstance(part, Number):
                types.append(C_TYPES[part.kind])
                self._parts.append((names, NumberCheck(label, part.kind)))
            else:
                types += [ctypes.c_void_p] + [ctypes.c_int32] * (part.length is None)
                self._parts.append((names, TableCheck(label, part, lanes)))
        address = self._kept.get_function_address("run")
        self._function = ctypes.CFUNCTYPE(None, *types)(address)

    def __call__(self, given: Mapping[str, Any]) -> None:
        """Run it on numbers and arrays, by name; arrays are changed.

        Raises
        ------
        TypeError, ValueError
            An argument is not what the code was written for.
        """
        passed: list[Any] = []
        arrays: list[AnyArray] = []
        addresses: list[int] = []
        for (outer, inner), check in self._parts:
            one = given[outer][inner] if inner else given[outer]
            if isinstance(check, NumberCheck):
                passed.append(check(one))
                continue
            check(one)
            arrays.append(one)
            addresses.append(one.ctypes.data)
            passed.append(addresses[-1])
            if check.table.length is None:
                passed.append(len(one))
        check_apart(arrays, addresses)
        self._function(*passed)


def compile_native(
    function: Callable[..., Any],
    signature: Signature,
    modules: Sequence[ModuleType],
    lanes: int = 1,
) -> Native:
    """Compile a function and what it calls, or take it from disk.

    Parameters
    ----------
    function : function
        Plain; see `straight` for what it may use.
    signature : mapping
        Each argument's kind, in order.
    modules : sequence of module
        All that it uses; a change of their source or names compiles anew.
    lanes : int
        Loops side by side.

    Returns
    -------
    Native

    Raises
    ------
    RefusedError
        It uses what straight code does not have, or a module nobody named.

    Examples
    --------
    >>> import numpy as np
    >>> from host_sim.plant.channel import push
    >>> arguments = {"line": Table("float", length=3), "head": Number("int")}
    >>> arguments["newest"] = Number("float")
    >>> native = compile_native(push, arguments, [inspect.getmodule(push)])
    >>> native({"line": (line := np.zeros(3)), "head": 1, "newest": 7.0})
    >>> line
    array([0., 0., 7.])
    """
    key = _key(function, signature, modules, lanes)
    code = cache.load(key)
    if code is None:
        text, used = emit.write(function, signature, lanes)
        if forgotten := used - {module.__name__ for module in modules} - {"math"}:
            raise RefusedError(f"modules that nobody named: {sorted(forgotten)}")
        code = emit.object_code(text)
        cache.keep(key, code)
    return Native(code, signature, lanes)


def code_of(function: Callable[..., Any], signature: Signature, lanes: int) -> str:
    """Write a function as LLVM's text, not yet optimised."""
    return emit.write(function, signature, lanes)[0]


def _key(
    function: Callable[..., Any],
    signature: Signature,
    modules: Sequence[ModuleType],
    lanes: int,
) -> str:
    digest = hashlib.sha256()
    for part in (
        llvmlite.__version__,
        llvm.get_host_cpu_name(),
        llvm.get_host_cpu_features().flatten(),
        repr(lanes),
        function.__qualname__,
        repr(list(signature.items())),
        *(path.read_text(encoding="utf-8") for path in _OWN_FILES),
        *(inspect.getsource(module) for module in modules),
        *(_names(module) for module in modules),
    ):
        digest.update(part.encode())
        digest.update(b"\0")
    return f"{function.__name__}-{digest.hexdigest()[:24]}.o"


def _names(module: ModuleType) -> str:
    """Write down what a module's names stand for, whoever set it."""
    found: list[Any] = []
    for name, one in vars(module).items():
        if _is_plain(one):
            found.append((name, one))
        elif isinstance(one, FunctionType):
            code = one.__code__
            numbers = [n for n in code.co_consts if isinstance(n, bool | int | float)]
            found.append((name, one.__module__, code.co_code, code.co_names, numbers))
    return repr(found)


def _is_plain(one: Any) -> bool:
    if isinstance(one, tuple):
        return all(_is_plain(part) for part in one)
    return isinstance(one, bool | int | float)
