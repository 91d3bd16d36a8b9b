"""A plain function as machine code for this computer, kept on disk."""

import ctypes
import hashlib
import inspect
import os
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import FunctionType, ModuleType
from typing import Any

import llvmlite
import llvmlite.binding as llvm
import numpy as np
import platformdirs

from host_sim.compiling import machine, straight
from host_sim.compiling.machine import Kind, Machine, Value
from host_sim.compiling.straight import Array, Straightener

C_TYPES = {"int": ctypes.c_int32, "float": ctypes.c_double}
DTYPES: dict[Kind, Any] = {"int": np.int32, "float": np.float64}


@dataclass(frozen=True)
class Number:
    """A scalar argument."""

    kind: Kind


@dataclass(frozen=True)
class Table:
    """An array argument.

    Parameters
    ----------
    kind : str
    laned : bool
        One column for each lane.
    length : int or None
        Number of elements; None: told at each call by the array itself.
    row : int
        Elements in a row, for two indices.
    scratch : bool
        No argument at all: kept in registers.
    known : tuple of (int, number or str)
        Elements known beforehand: the number, or ``"+"`` or ``"-"``.
    """

    kind: Kind
    laned: bool = True
    length: int | None = 0
    row: int = 0
    scratch: bool = False
    known: tuple[tuple[int, float | str], ...] = ()


Part = Number | Table
Signature = Mapping[str, Part | Mapping[str, Part]]
"""Every argument of a function in order; a mapping is one that is a tuple."""


class Native:
    """Machine code of one function.

    Parameters
    ----------
    code : bytes
        Object file.
    signature : mapping
        As given to `compile_native`.
    """

    def __init__(self, code: bytes, signature: Signature) -> None:
        self._kept = llvm.create_mcjit_compiler(llvm.parse_assembly(""), _target())
        self._kept.add_object_file(llvm.ObjectFileRef.from_data(code))
        self._kept.finalize_object()
        self._arguments = _arguments(signature)
        types: list[Any] = []
        for _, part in self._arguments:
            if isinstance(part, Number):
                types.append(C_TYPES[part.kind])
            else:
                types += [ctypes.c_void_p] + [ctypes.c_int32] * (part.length is None)
        address = self._kept.get_function_address("run")
        self._function = ctypes.CFUNCTYPE(None, *types)(address)

    def __call__(self, given: Mapping[str, Any]) -> None:
        """Run it on numbers and arrays, by name; arrays are changed in place."""
        passed: list[Any] = []
        for (outer, inner), part in self._arguments:
            one = given[outer][inner] if inner else given[outer]
            if isinstance(part, Number):
                passed.append(one)
                continue
            if one.dtype != DTYPES[part.kind] or not one.flags.c_contiguous:
                raise TypeError(f"{outer} {inner}: {one.dtype}, not {part.kind}")
            passed.append(one.ctypes.data)
            if part.length is None:
                passed.append(len(one))
        self._function(*passed)


def _arguments(signature: Signature) -> list[tuple[tuple[str, str], Part]]:
    """List what is passed: names (outer, inner or empty) and kinds."""
    found: list[tuple[tuple[str, str], Part]] = []
    for name, part in signature.items():
        if isinstance(part, Mapping):
            found += [((name, inner), one) for inner, one in part.items()]
        else:
            found.append(((name, ""), part))
    return [
        (names, part)
        for names, part in found
        if not (isinstance(part, Table) and part.scratch)
    ]


def compile_native(
    function: FunctionType,
    signature: Signature,
    modules: Sequence[ModuleType],
    lanes: int = 1,
) -> Native:
    """Compile a function with all that it calls, or take it from disk.

    Parameters
    ----------
    function : function
        Plain; see `straight` for what it may use.
    signature : mapping
        Each argument's kind, in order.
    modules : sequence of module
        All modules with sources that it uses; a change in one compiles anew.
    lanes : int
        Loops side by side.

    Returns
    -------
    Native
    """
    path = _cache_path(function, signature, modules, lanes)
    if path.is_file():
        return Native(path.read_bytes(), signature)
    target = _target()
    module = llvm.parse_assembly(code_of(function, signature, lanes))
    options = llvm.create_pipeline_tuning_options(speed_level=2)
    builder = llvm.create_pass_builder(target, options)
    builder.getModulePassManager().run(module, builder)
    code = target.emit_object(module)
    _keep(path, code)
    return Native(code, signature)


def code_of(function: FunctionType, signature: Signature, lanes: int) -> str:
    """Write a function as LLVM's text, not yet optimised."""
    kinds: list[Kind | None] = []
    places: dict[tuple[str, str], int] = {}
    for names, part in _arguments(signature):
        places[names] = len(kinds)
        if isinstance(part, Number):
            kinds.append(part.kind)
        else:
            kinds += [None, "int"] if part.length is None else [None]
    writer = Machine(lanes, kinds)

    def stand_in(names: tuple[str, str], part: Part) -> Value | Array:
        if isinstance(part, Number):
            return writer.argument(places[names], part.kind)
        return _array(part, places.get(names, -1), writer)

    straightener = Straightener(writer)
    straightener.call(
        function,
        [
            tuple(stand_in((name, inner), one) for inner, one in part.items())
            if isinstance(part, Mapping)
            else stand_in((name, ""), part)
            for name, part in signature.items()
        ],
    )
    straightener.flush()
    writer.builder.ret_void()
    return str(writer.module)


def _array(part: Table, place: int, writer: Machine) -> Array:
    length = writer.argument(place + 1, "int") if part.length is None else part.length
    laned = part.laned and writer.lanes > 1
    known = {
        slot: (
            Value(part.kind, laned, None, 1 if known == "+" else -1)
            if isinstance(known, str)
            else known
        )
        for slot, known in part.known
    }
    return Array(place, part.kind, laned, length, part.row, known)


def _target() -> Any:  # noqa: ANN401
    llvm.initialize_native_target()
    llvm.initialize_native_asmprinter()
    return llvm.Target.from_default_triple().create_target_machine(
        cpu=llvm.get_host_cpu_name(),
        features=llvm.get_host_cpu_features().flatten(),
        opt=2,
        jit=True,
    )


def _cache_path(
    function: FunctionType,
    signature: Signature,
    modules: Sequence[ModuleType],
    lanes: int,
) -> Path:
    digest = hashlib.sha256()
    for part in (
        llvmlite.__version__,
        llvm.get_host_cpu_name(),
        llvm.get_host_cpu_features().flatten(),
        function.__qualname__,
        repr(list(signature.items())),
        repr(lanes),
        *(inspect.getsource(module) for module in (*modules, machine, straight)),
    ):
        digest.update(part.encode())
        digest.update(b"\0")
    root = Path(platformdirs.user_cache_dir("integer-pilot"))
    return root / f"{function.__name__}-{digest.hexdigest()[:24]}.o"


def _keep(path: Path, code: bytes) -> None:
    """Keep the object file; a folder that cannot be written costs only time."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent)
        with os.fdopen(handle, "wb") as stream:
            stream.write(code)
        Path(name).replace(path)
    except OSError:
        pass
