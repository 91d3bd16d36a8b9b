"""Compile plain kernels with numba by wrapping them, never by decorating.

The functions stay what they are for CPython and MicroPython; a compiled copy of
each calls the compiled copies of the others. Results are cached on disk in a
folder named after the sources, because numba itself does not notice that a
function in another file has changed.
"""

import hashlib
import inspect
from collections.abc import Sequence
from pathlib import Path
from types import FunctionType, ModuleType
from typing import Any

import numba
import platformdirs


def compile_modules(modules: Sequence[ModuleType]) -> dict[str, Any]:
    """Compile every function of some modules.

    Parameters
    ----------
    modules : sequence of module
        In the order of their imports: a module after those it calls.

    Returns
    -------
    dict
        ``"module.function"`` (short module name) to compiled function.

    >>> from array import array
    >>> from firmware_model.law import arith
    >>> compiled = compile_modules([arith])
    >>> compiled["arith.clamp"](7, 0, 5)
    5
    """
    numba.config.CACHE_DIR = str(_cache_folder(modules))  # type: ignore[attr-defined]
    replaced: dict[int, Any] = {}
    compiled: dict[str, Any] = {}
    for module in modules:
        names = {**vars(module)}
        names.update(
            {
                name: replaced[id(value)]
                for name, value in names.items()
                if id(value) in replaced
            }
        )
        for name, function in vars(module).items():
            if isinstance(function, FunctionType) and _is_own(function, module):
                plain = FunctionType(function.__code__, names, name)
                replaced[id(function)] = names[name] = numba.njit(cache=True)(plain)
                compiled[f"{module.__name__.rpartition('.')[2]}.{name}"] = names[name]
    return compiled


def _is_own(function: FunctionType, module: ModuleType) -> bool:
    return function.__module__ == module.__name__


def _cache_folder(modules: Sequence[ModuleType]) -> Path:
    digest = hashlib.sha256(numba.__version__.encode())
    for module in modules:
        digest.update(inspect.getsource(module).encode())
    root = Path(platformdirs.user_cache_dir("integer-pilot"))
    return root / digest.hexdigest()[:16]
