"""A plain function on CPython and compiled, with other numbers in each lane."""

from array import array
from functools import cache

import numpy as np

from host_sim.compiling import emit
from host_sim.compiling.native import Native, Number, Table
from host_sim.compiling.signature import DTYPES

LANES = (1, 4, 16)
MOST = max(LANES)
CODES = {"float": "d", "int": "i"}


@cache
def compiled(function, signature, lanes):
    """Compile without the cache on disk; ``signature`` as pairs."""
    text, _ = emit.write(function, dict(signature), lanes)
    return Native(emit.object_code(text), dict(signature), lanes)


def agree(function, signature, given, plain=None):
    """Let both run, and compare every number of every array, bit for bit.

    Parameters
    ----------
    function : function
    signature : dict
        Argument to `Number` or `Table`.
    given : dict
        Argument to a number, or to one list a lane. An array that is not laned has
        one list. Scratch is given too: CPython has no registers.
    plain : function, optional
        What runs on CPython, where its arrays need a wrapping.
    """
    expected = [
        run_plain(plain or function, signature, given, lane) for lane in range(MOST)
    ]
    for lanes in LANES:
        arrays = run_compiled(function, signature, given, lanes)
        for name, found in arrays.items():
            columns = found.shape[-1]
            wanted = np.array([expected[lane][name] for lane in range(columns)]).T
            assert same_bits(found, wanted.astype(found.dtype)), (name, lanes)


def run_plain(function, signature, given, lane):
    """Run one lane on CPython; return its arrays."""
    arguments = {
        name: array(CODES[part.kind], given[name][lane if part.laned else 0])
        if isinstance(part, Table)
        else given[name]
        for name, part in signature.items()
    }
    function(*arguments.values())
    return {name: one for name, one in arguments.items() if isinstance(one, array)}


def run_compiled(function, signature, given, lanes):
    """Run some lanes side by side; return their arrays, one column a lane."""
    passed = {}
    for name, part in signature.items():
        if isinstance(part, Number):
            passed[name] = given[name]
        elif not part.scratch:
            rows = given[name][: lanes if part.laned else 1]
            passed[name] = np.array(rows, dtype=DTYPES[part.kind]).T.copy()
    compiled(function, tuple(signature.items()), lanes)(passed)
    return {k: one for k, one in passed.items() if isinstance(one, np.ndarray)}


def same_bits(found, expected):
    """Compare bit for bit; but one NaN is as good as another.

    Nothing that straight code has can tell two of them apart, and which one an
    operation gives is the processor's choice on CPython too.
    """
    if found.dtype.kind != "f":
        return np.array_equal(found, expected)
    both = np.isnan(found) & np.isnan(expected)
    return (both | (found.view(np.int64) == expected.view(np.int64))).all()
