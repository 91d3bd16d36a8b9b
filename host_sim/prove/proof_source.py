"""The law's own source text, loaded so that it computes with intervals.

The text is compiled as it stands, under its own file names and line numbers, but
for one change of the syntax tree: every integer literal becomes an interval of
one integer, so no operation of the law escapes the checks. The law gets four
names of its own: ``int`` and ``const`` keep what they are given, ``range`` and
``import`` work on what is loaded here. Any other built-in function is unknown to
it, and the proof stops with a `NameError`. Every function is wrapped so that all
its paths are joined when it returns. Nothing outside is changed.
"""

import ast
import re
from collections.abc import Callable, Iterator, Mapping
from functools import wraps
from pathlib import Path
from types import FunctionType, SimpleNamespace
from typing import Any

from firmware_model.law import layout
from host_sim.prove.interval import Interval
from host_sim.prove.interval_paths import LAW_MARK, Paths

PACKAGE = "firmware_model.law."
DEVICE = "firmware_model.device."
DEVICE_TICK = ("detect", "supervisor")
FOLDER = Path(layout.__file__).parent
_POINT = "__point__"
_WRAPPED = "proved_function"


def law_sources() -> dict[str, str]:
    """Read the law's source files by module name."""
    return {
        path.stem: path.read_text(encoding="utf-8")
        for path in sorted(FOLDER.glob("*.py"))
        if path.stem != "__init__"
    }


def device_sources() -> dict[str, str]:
    """Read the sources of a device's tick by module name, the law's among them.

    The check of the parameters works on bytes and is left out; so is `start`.
    """
    sources = law_sources()
    folder = FOLDER.parent / "device"
    own = {
        name: (folder / f"{name}.py").read_text() for name in ("layout", *DEVICE_TICK)
    }
    tables = own["layout"].replace(
        "from firmware_model.law.layout import", "PACKAGED ="
    )
    tables = re.sub(r"PACKAGED =.*?\n\n", "\n", tables, flags=re.DOTALL)
    names = "STATE, PARAMETERS = DEVICE_STATE, DEVICE_PARAMETERS\n"
    sources["layout"] += tables + names
    nothing = "def {}(*_):\n    return 0\n"
    sources["block"], sources["crc"] = (
        nothing.format("put_word"),
        nothing.format("crc16"),
    )
    return sources | {name: own[name] for name in DEVICE_TICK}


class _Lift(ast.NodeTransformer):
    """Make a call of every integer literal, with its sign."""

    def visit_Constant(self, node: ast.Constant) -> ast.expr:
        if type(node.value) is not int:
            return node
        return _call_of_point(node)

    def visit_UnaryOp(self, node: ast.UnaryOp) -> ast.expr:
        negative = isinstance(node.op, ast.USub)
        if negative and isinstance(node.operand, ast.Constant):
            return _call_of_point(node)
        self.generic_visit(node)
        return node


def _call_of_point(node: ast.expr) -> ast.Call:
    point = ast.Name(_POINT, ast.Load())
    return ast.copy_location(ast.Call(point, [node], []), node)


class Law:
    """The law's modules on intervals.

    Parameters
    ----------
    sources : mapping
        Source text by module name, `law_sources` or a patched copy.
    paths : Paths
        Runs and checks what the law computes.
    """

    def __init__(self, sources: Mapping[str, str], paths: Paths) -> None:
        self.sources = sources
        self.paths = paths
        self.modules: dict[str, dict[str, Any]] = {}

    def module(self, name: str) -> dict[str, Any]:
        """Load a module of the law, once."""
        if name not in self.modules:
            space = self._new_space(name)
            tree = _Lift().visit(ast.parse(self.sources[name]))
            file_name = str(FOLDER / f"{name}.py")
            exec(compile(ast.fix_missing_locations(tree), file_name, "exec"), space)
            for key, made in list(space.items()):
                if isinstance(made, FunctionType) and made.__globals__ is space:
                    space[key] = self._joining(made)
            self.modules[name] = space
        return self.modules[name]

    def _new_space(self, name: str) -> dict[str, Any]:
        known = {
            "int": _keep,
            "range": self._range,
            "bytearray": _keep,
            "__import__": self._import,
        }
        return {
            "__name__": PACKAGE + name,
            "__builtins__": known,
            LAW_MARK: True,
            _POINT: self.paths.point,
        }

    def _import(self, name: str, *_: object) -> SimpleNamespace:
        if name == "micropython":
            return SimpleNamespace(const=_keep)
        for package in (PACKAGE, DEVICE):
            if name.startswith(package):
                return SimpleNamespace(**self.module(name.removeprefix(package)))
        raise ImportError(f"the law imports {name}")

    def _range(self, *ends: Interval) -> Iterator[Interval]:
        return map(self.paths.point, range(*ends))

    def _joining(self, function: FunctionType) -> Callable[..., Interval | None]:
        @wraps(function)
        def proved(*arguments: object) -> Interval | None:
            return self.paths.call(function, *arguments)

        setattr(proved, _WRAPPED, function)
        return proved


def load_layout(sources: Mapping[str, str]) -> SimpleNamespace:
    """Run the layout's text; it holds the tables and no law."""
    space: dict[str, Any] = {}
    exec(sources["layout"], space)
    return SimpleNamespace(**space)


def is_law_function(made: object) -> bool:
    """Tell a function of the law from the rest of a module."""
    return hasattr(made, _WRAPPED)


def _keep(number: Any) -> Any:  # noqa: ANN401
    return number
