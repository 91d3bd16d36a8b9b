"""Machine code takes only the arguments that it was written for."""

import numpy as np
import pytest
from straight_programs import load_program

from host_sim.compiling import emit
from host_sim.compiling.native import Native, Number, Table

PROGRAM = """\
def main(count, level, table, line, rows, pair, shared, known):
    for k in range(count):
        rows[k, 1] += level
    table[0] = level + pair[0] + known[0]
    table[1] = pair[1][0] + line[count]
    shared[0] = len(line)
"""
LANES = 4
SIGNATURE = {
    "count": Number("int"),
    "level": Number("float"),
    "table": Table("float", length=2),
    "line": Table("float", length=None),
    "rows": Table("float", row=3),
    "pair": {"first": Number("float"), "second": Table("float", length=1)},
    "shared": Table("int", laned=False, length=1),
    "known": Table("float", length=3, known=((0, 0.0), (1, "+"), (2, "-"))),
}


@pytest.fixture(scope="module")
def native(tmp_path_factory):
    path = tmp_path_factory.mktemp("native") / "program.py"
    text, _ = emit.write(load_program(PROGRAM, path).main, SIGNATURE, LANES)
    return Native(emit.object_code(text), SIGNATURE, LANES)


def arguments():
    known = np.array([[0.0] * LANES, [0.5] * LANES, [-1.0] * LANES])
    return {
        "count": 2,
        "level": 0.25,
        "table": np.zeros((2, LANES)),
        "line": np.arange(5.0 * LANES).reshape(5, LANES),
        "rows": np.zeros((2, 3, LANES)),
        "pair": {"first": 1.0, "second": np.full((1, LANES), 8.0)},
        "shared": np.zeros(1, dtype=np.int32),
        "known": known,
    }


def test_native_changes_its_arrays_in_place(native):
    given = arguments()
    native({**given, "unasked": 3})
    assert given["table"].tolist() == [[1.25] * 4, [16.0, 17.0, 18.0, 19.0]]
    assert given["rows"][:, 1].tolist() == [[0.25] * 4] * 2
    assert given["shared"].tolist() == [5]


def test_native_takes_numbers_of_numpy(native):
    given = arguments()
    native({**given, "count": np.int64(2), "level": np.float32(0.25)})
    assert given["table"][0].tolist() == [1.25] * 4


def with_known(slot, number):
    known = arguments()["known"]
    known[slot, 2] = number
    return {"known": known}


def overlapping():
    both = np.zeros((3, LANES))
    return {"table": both[:2], "pair": {"first": 1.0, "second": both[1:2]}}


def same_twice():
    line = np.zeros((2, LANES))
    return {"table": line, "line": line}


def read_only():
    table = np.zeros((2, LANES))
    table.flags.writeable = False
    return {"table": table}


REFUSED = {
    "wide integer": (lambda: {"count": 2**31}, ValueError, "count: .* 32 bits"),
    "fraction": (lambda: {"count": 2.5}, TypeError, "float"),
    "text": (lambda: {"level": "a"}, ValueError, "float"),
    "kind": (
        lambda: {"table": np.zeros((2, LANES), dtype=np.int32)},
        TypeError,
        "table: not a plain writable array of float",
    ),
    "long integers": (
        lambda: {"shared": np.zeros(1, dtype=np.int64)},
        TypeError,
        "shared: not a plain writable array of int",
    ),
    "columns first": (
        lambda: {"table": np.zeros((LANES, 2)).T},
        TypeError,
        "table: not a plain",
    ),
    "read only": (read_only, TypeError, "table: not a plain"),
    "short": (lambda: {"table": np.zeros((1, LANES))}, ValueError, r"shape \(1, 4\)"),
    "one lane": (lambda: {"table": np.zeros(2)}, ValueError, r"shape \(2,\)"),
    "flat": (lambda: {"table": np.zeros(2 * LANES)}, ValueError, r"shape \(8,\)"),
    "lanes of another": (lambda: {"line": np.zeros((4, 3))}, ValueError, "line: shape"),
    "half a row": (lambda: {"rows": np.zeros((2, LANES))}, ValueError, "rows: shape"),
    "part of a tuple": (
        lambda: {"pair": {"first": 1.0, "second": np.zeros((2, LANES))}},
        ValueError,
        "pair second: shape",
    ),
    "another zero": (lambda: with_known(0, -0.0), ValueError, "known: not the known"),
    "no zero": (lambda: with_known(0, 1.0), ValueError, "known: not the known"),
    "no plus": (lambda: with_known(1, 0.0), ValueError, "known: not the known"),
    "no minus": (lambda: with_known(2, 1.0), ValueError, "known: not the known"),
    "no number": (lambda: with_known(2, np.nan), ValueError, "known: not the known"),
    "same array twice": (same_twice, ValueError, "two arrays share memory"),
    "overlapping arrays": (overlapping, ValueError, "two arrays share memory"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_native_refuses_what_the_code_was_not_written_for(name, native):
    change, error, reason = REFUSED[name]
    with pytest.raises(error, match=reason):
        native({**arguments(), **change()})
