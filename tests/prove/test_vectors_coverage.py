"""The golden vectors take every branch of the law, and every condition both ways.

Two measures. Branch coverage, by the coverage package, on the law's own files.
Then what it is blind to, parts of a line: an instrumented copy of the law notes
the outcome of every part of `and` and `or`, of every link of a chained
comparison and of every conditional expression.
"""

import ast
import importlib.util
import json
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

from required import require

from firmware_model.law import layout
from host_sim.prove.c99_law import MODULES
from host_sim.prove.vectors import check_vectors

LAW = Path(layout.__file__).parent
VECTORS = Path(__file__).parents[1] / "vectors"


def run_python(*arguments, folder):
    return subprocess.run(
        [sys.executable, *arguments],
        cwd=folder,
        check=True,
        capture_output=True,
        text=True,
        timeout=120,
    ).stdout


def test_vectors_take_every_branch_of_the_law(tmp_path):
    missing = "" if importlib.util.find_spec("coverage") else "coverage"
    require(missing, "pip install coverage")
    check = "import sys, pathlib; from host_sim.prove.vectors import check_vectors; "
    check += "assert check_vectors(pathlib.Path(sys.argv[1])).difference is None"
    (tmp_path / "check.py").write_text(check)
    run_python(
        *("-m", "coverage", "run", "--branch", f"--include={LAW}/*"),
        *("check.py", str(VECTORS)),
        folder=tmp_path,
    )
    run_python("-m", "coverage", "json", "-q", "-o", "found.json", folder=tmp_path)
    found = json.loads((tmp_path / "found.json").read_text())
    measured = {Path(file).stem: part for file, part in found["files"].items()}
    assert set(MODULES) <= set(measured)
    for name in MODULES:
        part = measured[name]
        assert part["missing_lines"] == [], name
        assert part["missing_branches"] == [], name
    assert found["totals"]["num_branches"] > 100


class Instrument(ast.NodeTransformer):
    """Wrap each part of a condition in `_note(place, outcome)`."""

    def __init__(self, module):
        self.module = module
        self.places = []

    def note(self, node):
        place = f"{self.module}:{node.lineno} `{ast.unparse(node)}`"
        self.places.append(place)
        called = ast.Call(ast.Name("_note", ast.Load()), [], [])
        called.args = [ast.Constant(place), node]
        return called

    def visit_BoolOp(self, node):
        self.generic_visit(node)
        node.values = [self.note(part) for part in node.values]
        return node

    def visit_IfExp(self, node):
        self.generic_visit(node)
        node.test = self.note(node.test)
        return node

    def visit_Compare(self, node):
        self.generic_visit(node)
        if len(node.ops) == 1:
            return node
        terms = [node.left, *node.comparators]
        links = []
        for k, operator in enumerate(node.ops):
            link = ast.Compare(terms[k], [operator], [terms[k + 1]])
            links.append(self.note(ast.copy_location(link, node)))
        return ast.copy_location(ast.BoolOp(ast.And(), links), node)


def instrumented_law():
    """Load copies of the law's modules that note their outcomes."""
    outcomes = {}

    def note(place, outcome):
        outcomes[place].add(bool(outcome))
        return outcome

    shared = {}
    for name in MODULES:
        instrument = Instrument(name)
        source = (LAW / f"{name}.py").read_text()
        tree = ast.fix_missing_locations(instrument.visit(ast.parse(source)))
        outcomes.update({place: set() for place in instrument.places})
        space = {"_note": note, "__name__": f"instrumented_{name}"}
        exec(compile(tree, name, "exec"), space)
        # Its imports came from the plain law: take the instrumented ones.
        space.update({known: shared[known] for known in space.keys() & shared.keys()})
        own = ast.walk(tree)
        names = [node.name for node in own if isinstance(node, ast.FunctionDef)]
        shared.update({name: space[name] for name in names})
    return SimpleNamespace(tick=shared["tick"], reset=shared["reset"]), outcomes


def test_vectors_take_every_part_of_a_condition_both_ways():
    law, outcomes = instrumented_law()
    assert check_vectors(VECTORS, law).difference is None
    assert len(outcomes) >= 30
    blind = {place: seen for place, seen in outcomes.items() if len(seen) < 2}
    assert not blind
