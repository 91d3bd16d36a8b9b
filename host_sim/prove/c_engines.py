"""The exported C law as engines: two ways to optimise, and the sanitizers."""

import tempfile
from pathlib import Path

from host_sim.prove.c99 import export_c99
from host_sim.prove.engine import Engine, EngineError, call, lacking

C99 = ("-std=c99", "-pedantic", "-Wall", "-Wextra", "-Wconversion", "-Wshadow")
REPLAY = Path(__file__).with_name("replay.c")
_COMPILER = "gcc"
_SANITIZERS = ("-O1", "-fsanitize=address,undefined", "-fno-sanitize-recover")


def compile_c(sources: list[Path], program: Path, options: tuple[str, ...]) -> None:
    """Compile the exported law with another source; any warning is an error.

    Parameters
    ----------
    sources : list of Path
    program : Path
        File to write.
    options : tuple of str
        Further options of the compiler.

    Raises
    ------
    EngineError
        The compiler's own words.
    """
    files = [str(source) for source in sources]
    call([_COMPILER, *C99, "-Werror", *options, *files, "-o", str(program)])


def write_c99(folder: Path) -> Path:
    """Write the exported files into a folder that exists; return its law.c."""
    for name, text in export_c99().items():
        (folder / name).write_text(text, encoding="utf-8")
    return folder / "law.c"


def _run(path: Path, law: str, options: tuple[str, ...]) -> list[str]:
    if law != "law":
        raise EngineError(f"C has no heap to lock, so no law {law!r}")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        program = folder / "replay"
        include = (f"-I{folder}", *options)
        compile_c([write_c99(folder), REPLAY], program, include)
        return call([str(program), str(path)]).splitlines()


def _engine(name: str, *options: str) -> Engine:
    return Engine(
        f"C99, {name}",
        "a C compiler named gcc (Debian: apt install gcc libc6-dev)",
        lambda: lacking((_COMPILER,), ()),
        lambda path, law: _run(path, law, options),
    )


C_ENGINES = (
    _engine("gcc -O0", "-O0"),
    _engine("gcc -O3", "-O3"),
    _engine("gcc with sanitizers", *_SANITIZERS),
)
