"""What straight code does not have is refused, with file and line."""

import re

import pytest
from straight_programs import load_program

from host_sim.compiling.native import Number, Table, code_of
from host_sim.compiling.refusal import RefusedError

SIGNATURE = {
    "k": Number("int"),
    "x": Number("float"),
    "t": Table("float", length=4),
    "i": Table("int", length=4),
    "rows": Table("float", row=3),
    "known": Table("float", length=2, known=((0, 1.0), (1, "+"))),
    "shared": Table("int", laned=False, length=2),
    "scratch": Table("float", length=2, scratch=True),
    "pair": {"first": Number("float"), "other": Table("float", length=2)},
}
HEAD = f"""\
import math
from functools import wraps

TABLES = [1.0, 2.0]
LEVEL = 2.0


def twice(number, level=LEVEL):
    return 2.0 * number


def outer(number):
    def inner():
        return number
    return inner


def decorate(function):
    @wraps(function)
    def wrapper(number):
        return function(number) + 1.0
    return wrapper


closure = outer(3.0)
unnamed = lambda number: number
wrapped = decorate(twice)


@decorate
def decorated(number):
    return number


def itself({", ".join(SIGNATURE)}):
    itself({", ".join(SIGNATURE)})


def main({", ".join(SIGNATURE)}):
"""

# A body, and why it is refused; the line that is named ends with "# here", or is the
# first one.
STATEMENTS = {
    "while x > 0.0:\n    t[0] = x": "unknown statement While",
    "for n in range(3):\n    break  # here": "unknown statement Break",
    "for n in range(3):\n    continue  # here": "unknown statement Continue",
    "for n in range(k):\n    return": "a return within a loop",
    "for n in range(2):\n    if x > 0.0:\n        return": "a return within a loop",
    "for n in range(2):\n    pass\nelse:\n    pass": "unknown statement For",
    "for n in range(1, 3):\n    pass": "only loops over range",
    "for one in t:\n    pass": "only loops over range",
    "for n in range(i[0]):\n    pass": "no whole number that all lanes share",
    "for n in range(x):\n    pass": "no whole number that all lanes share",
    "for n in range(2.0):\n    pass": "the count is no whole number",
    "if x > 0.0:\n    for n in range(k):  # here\n        pass": "in a branch",
    "y = z = x": "unknown statement Assign",
    "y: float = x": "unknown statement AnnAssign",
    "y, z = pair": "only names and elements are assigned",
    "x.real = 2.0": "only names and elements are assigned",
    "global LEVEL\nLEVEL = x": "unknown statement Global",
    "def inner():\n    pass": "unknown statement FunctionDef",
    "import math": "unknown statement Import",
    "assert x > 0.0": "unknown statement Assert",
    "del x": "unknown statement Delete",
    "x": "unknown statement Expr",
    "with t:\n    pass": "unknown statement With",
    "try:\n    pass\nfinally:\n    pass": "unknown statement Try",
    "raise x": "unknown statement Raise",
}
NAMES = {
    "t[0] = nowhere": "unknown name",
    "t[0] = y\ny = x": "no value, or none of one kind, on every way",
    "if x > 0.0:\n    y = x\nt[0] = y  # here": "on every way to this place",
    "if x > 0.0:\n    LEVEL = x\nt[0] = LEVEL  # here": "on every way to this place",
    "y = 1\nif x > 0.0:\n    y = x\nt[0] = y  # here": "on every way to this place",
    "y = x\nfor n in range(k):\n    y += 1.0  # here": "on every way to this place",
    "y = x\nfor n in range(k):\n    t[0] = y  # here\n    y = t[1]": "on every way",
    "y = x\nfor n in range(k):\n    y = t[1]\nt[0] = y  # here": "on every way",
    "for n in range(k):\n    pass\ni[0] = n  # here": "on every way to this place",
    "t[0] = x.real": "only modules have attributes",
    "t[0] = math.nothing": "only modules have attributes",
    "t[0] = TABLES[0]": "only arrays that are arguments",
    "t[0] = pair[k]": "which of several is not known beforehand",
    "t[0] = pair[2]": "which of several is not known beforehand",
    "t[0] = pair[-1]": "which of several is not known beforehand",
}
CALLS = {
    "t[0] = max(x, 2.0, key=None)": "arguments are given by place",
    "t[0] = twice(number=x)": "arguments are given by place",
    "t[0] = twice(x)": "takes another number of arguments",
    "t[0] = math.cos(x)": "not a function that straight code has",
    "t[0] = math.cos(0.5)": "not a function that straight code has",
    "t[0] = min(x)": "not a function that straight code has",
    "t[0] = min(t)": "not a function that straight code has",
    "t[0] = int(x, 10)": "not a function that straight code has",
    "t[0] = range(3)": "not a function that straight code has",
    "t[0] = LEVEL(x)": "not a function that straight code has",
    "print(k)": "unknown name",
    "t[0] = round(x)": "unknown name",
    "t[0] = sum(t)": "unknown name",
    "t[0] = min(*t)": "only an argument that is a tuple is unpacked",
    "t[0] = closure()": "only plain functions",
    "t[0] = unnamed(x)": "only plain functions",
    "t[0] = wrapped(x)": "only plain functions",
    "t[0] = decorated(x)": "only plain functions",
    "i[0] = len(rows)": "a length that nobody told",
    "i[0] = len(pair)": "a length that nobody told",
}
OPERATORS = {
    "t[0] = x or 5.0": "one of the operands, no truth",
    "t[0] = (x > 0.0) and x": "one of the operands, no truth",
    "t[0] = x is k": "no comparison Is",
    "t[0] = x in t": "no comparison In",
    "t[0] = 1.0 if x > 0.0 in t else 2.0": "no comparison In",
    "i[0] = k % 3": "no Mod of int numbers",
    "t[0] = x**2": "no Pow of float numbers",
    "i[0] = k ^ 1": "no operator BitXor",
    "i[0] = ~k": "no operator Invert",
    "t[0] = +x": "no operator UAdd",
    "t[0] = x // 2.0": "no FloorDiv of float numbers",
    "t[0] = x << 1": "no LShift of float numbers",
    "i[0] = k & x": "no BitAnd of float numbers",
    "i[0] = k >> -1": "a shift by -1 bits",
    "i[0] = k << 32": "a shift by 32 bits",
    "i[0] = 1 << -1": "ValueError",
    "t[0] = x / 0.0": "division by zero",
    "i[0] = k // 0": "division by zero",
    "t[0] = 1 // 0": "ZeroDivisionError",
    "t[0] = math.sqrt(-1.0)": "ValueError",
    "i[0] = k + 3_000_000_000": "has more than 32 bits",
    "i[0] = 3_000_000_000": "has more than 32 bits",
    "t[0] = x + 9_007_199_254_740_993": "is no float64",
    'y = "a"': "str is no number",
    "y = None": "NoneType is no number",
    "y = 2j": "complex is no number",
    "y = (x, x)": "unknown expression Tuple",
    "y = [x]": "unknown expression List",
    "t[0] = (y := x) + y": "unknown expression NamedExpr",
    "t[0] = t + x": "Array is no number",
    "t[0] = -t": "Array is no number",
    "if t:\n    pass": "Array is no number",
    "t[0] = 0 if x > 0.0 else x": "another kind on one way",
    "t[0] = t if x > 0.0 else x": "another kind on one way",
    "t[0] = max(x, 0)": "an integer on one way, a float on the other",
}
ELEMENTS = {
    "y = t[0:1]": "unknown expression Slice",
    "t[0] = t[x]": "a float where an int belongs",
    "t[0] = t[1.0]": "an index is a whole number",
    "t[0] = t[4]": "index 4 of an array of length 4",
    "t[-5] = x": "index -5 of an array of length 4",
    "t[0] = rows[0]": "takes two indices",
    "t[0] = rows[0, 1, 2]": "takes two indices",
    "t[0] = rows[0, 3]": "index 3 outside",
    "t[0] = rows[-1, 0]": "index -1 outside",
    "t[0] = t[0, 0]": "unknown expression Tuple",
    "t[0] = scratch[1]": "scratch element 1 is read before it is written",
    "t[0] = scratch[k]": "an open index into scratch",
    "scratch[k] = x": "an open index into scratch",
    "scratch[0] = x\nfor n in range(k):\n    t[0] = scratch[0]  # here": "scratch",
    "if x > 0.0:\n    scratch[0] = x": "scratch element 0 is read before",
    "shared[0] = i[1]": "differs between lanes, its array does not",
    "t[i[0]] = x": "the place to write differs between lanes",
    "if x > 0.0:\n    t[k] = x  # here": "written in a branch",
    "t[0] = x if x > 0.0 else rows[k, 0]": "needs the array's length",
    "if x > 0.0:\n    t[0] = x\n    t[1] = t[k]  # here": "after elements were written",
    "i[0] = x": "a float where an int belongs",
    "i[0] = 2.5": "a float where an int belongs",
    "known[1] = 2.0": "element 1 is known beforehand and written",
    "known[k] = 2.0": "where elements are known",
}
BODIES = {**STATEMENTS, **NAMES, **CALLS, **OPERATORS, **ELEMENTS}


@pytest.mark.parametrize("body", BODIES)
def test_straight_refusal_names_file_line_and_reason(body, tmp_path):
    lines = body.split("\n")
    marked = [k for k, line in enumerate(lines) if line.endswith("# here")]
    expected = HEAD.count("\n") + 1 + (marked or [0])[0]
    text = HEAD + "".join(f"    {line}\n" for line in lines)
    module = load_program(text, tmp_path / "program.py")
    with pytest.raises(RefusedError, match=re.escape(BODIES[body])) as caught:
        code_of(module.main, SIGNATURE, 4)
    message = str(caught.value)
    if "only plain functions" not in message:
        assert f"program.py:{expected}: no straight code for `" in message
    assert "\n" not in message


def test_straight_refusal_of_recursion_names_the_call(tmp_path):
    module = load_program(HEAD + "    pass\n", tmp_path / "program.py")
    with pytest.raises(RefusedError, match=r"program\.py:\d+.*`itself\(.*calls itself"):
        code_of(module.itself, SIGNATURE, 1)
    text = "def main(k):\n    if k > 0:\n        main(k - 1)\n"
    module = load_program(text, tmp_path / "program_2.py")
    with pytest.raises(RefusedError, match=r"program_2\.py:3: .* calls itself"):
        code_of(module.main, {"k": Number("int")}, 1)


def test_straight_refusal_names_the_innermost_line(tmp_path):
    text = "def inner(x):\n    return x % 2.0\n\n\ndef main(x):\n    y = inner(x)\n"
    module = load_program(text, tmp_path / "program.py")
    with pytest.raises(RefusedError, match=r"program\.py:2: .*`x % 2\.0`"):
        code_of(module.main, {"x": Number("float")}, 1)


def test_straight_refuses_a_function_without_source():
    names = {}
    exec("def main(x):\n    pass", names)
    with pytest.raises(RefusedError, match="source code"):
        code_of(names["main"], {"x": Number("float")}, 1)
    with pytest.raises(RefusedError, match="no plain function"):
        code_of(max, {"x": Number("float")}, 1)
