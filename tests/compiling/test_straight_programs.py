"""An agreement machine: random programs, CPython's numbers in every lane.

Each drawn program is written to a file, imported, and run several times on CPython
and compiled for 1, 4 and 16 lanes with other numbers in each lane. Programs are
counted by what they hold, because a machine that never writes a branch proves little.
"""

import ast
import math
import re
from collections import Counter
from random import Random

from both_ways import MOST, agree
from hypothesis import given, settings
from hypothesis import strategies as st
from straight_programs import TABLE, Program, load_program

from host_sim.compiling.native import Number, Table, code_of

SIGNATURE = {
    "n": Number("int"),
    "i": Number("int"),
    "x": Number("float"),
    "wholes": Table("int", length=TABLE),
    "reals": Table("float", length=TABLE),
    "codes": Table("int", length=TABLE),
    "levels": Table("float", length=TABLE),
}
EDGES = (0.0, -0.0, 0.5, 1.0, -1.0, math.inf, -math.inf, math.nan, 5e-324, 1e300, -3.7)
RUNS = 3


@settings(max_examples=settings.default.max_examples // 4)
@given(seed=st.integers(0, 2**32))
def test_straight_random_programs_agree_with_cpython(tmp_path_factory, seed):
    random = Random(seed)
    text = Program(random).text
    path = tmp_path_factory.mktemp("programs") / f"program_{seed}.py"
    module = load_program(text, path)
    for _ in range(RUNS):
        agree(module.main, SIGNATURE, draw_arguments(random))


def draw_arguments(random):
    def real():
        return random.choice(EDGES) if random.random() < 0.6 else random.uniform(-9, 9)

    def whole():
        wide = random.random() < 0.3
        return random.randint(-30_000, 30_000) if wide else random.randint(-9, 9)

    def table(draw):
        return [[draw() for _ in range(TABLE)] for _ in range(MOST)]

    return {
        "n": random.randint(0, 4),
        "i": random.randint(-9, 9),
        "x": real(),
        "wholes": table(whole),
        "reals": table(real),
        "codes": table(lambda: random.randint(-9, 9)),
        "levels": table(real),
    }


def test_straight_random_programs_hold_every_construct():
    found = Counter()
    for seed in range(60):
        tree = ast.parse(Program(Random(seed)).text)
        for node in ast.walk(tree):
            found[type(node).__name__] += 1
            if isinstance(node, ast.If):
                inside = [part for side in node.body for part in ast.walk(side)]
                found["nested"] += any(isinstance(part, ast.If) for part in inside)
                found["returns"] += any(isinstance(part, ast.Return) for part in inside)
            if isinstance(node, ast.For) and ast.unparse(node.iter) == "range(n)":
                found["open loops"] += 1
    least = {
        **dict.fromkeys(("If", "For", "IfExp", "BoolOp", "AugAssign", "Call"), 60),
        **dict.fromkeys(("nested", "returns", "open loops"), 15),
    }
    assert {name: found[name] for name in least if found[name] < least[name]} == {}


def test_straight_random_programs_take_branches_in_all_three_ways(tmp_path):
    ways = Counter()
    for seed in range(12):
        module = load_program(Program(Random(seed)).text, tmp_path / f"p_{seed}.py")
        text = "".join(code_of(module.main, SIGNATURE, lanes) for lanes in (1, 4))
        for way in (r"^lanes", r"^then", r" select "):
            ways[way] += bool(re.search(way, text, re.MULTILINE))
    assert min(ways.values()) >= 3, ways
