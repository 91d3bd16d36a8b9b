"""An emulated processor with a serial line, never left behind.

The emulator runs as a child process. Leaving the ``with`` block ends it by its
process id, whatever happened inside; leaving the interpreter does so too, and
where the system can, the emulator dies with a parent that was killed.
"""

import atexit
import os
import select
import shutil
import subprocess
import time
from pathlib import Path
from types import TracebackType
from typing import Self

from host_sim.prove.engine import EngineError

_PIECE_BYTES = 65_536
_END_WAIT_S = 10.0
_REMEDY = "`integer-pilot info` names the packages to install again"


class Emulator:
    """One emulator process; its serial line on the process's own pipes.

    Parameters
    ----------
    command : list of str
        Program and options; the serial line must be standard input and output.
    """

    def __init__(self, command: list[str]) -> None:
        self._command = dying_with_parent() + command
        self._process: subprocess.Popen[bytes] | None = None

    def __enter__(self) -> Self:
        """Start the emulator.

        Raises
        ------
        EngineError
            The program cannot be started.
        """
        try:
            self._process = subprocess.Popen(
                self._command,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.PIPE,
                bufsize=0,
                start_new_session=True,
            )
        except OSError as error:
            raise EngineError(
                f"{self._command[0]}: {error.strerror}; {_REMEDY}"
            ) from None
        atexit.register(self.end)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        """End the emulator."""
        self.end()

    @property
    def process(self) -> "subprocess.Popen[bytes]":
        """The running process."""
        if self._process is None:
            raise EngineError("the emulator is not running")
        return self._process

    def end(self) -> None:
        """End the process by its id and close its pipes; again does nothing."""
        process, self._process = self._process, None
        atexit.unregister(self.end)
        if process is not None:
            process.kill()
            process.wait(_END_WAIT_S)
            for pipe in (process.stdin, process.stdout, process.stderr):
                if pipe is not None:
                    pipe.close()

    def send(self, raw: bytes) -> None:
        """Write bytes to the serial line.

        Raises
        ------
        EngineError
            The emulator has died.
        """
        stdin = self.process.stdin
        assert stdin is not None
        try:
            stdin.write(raw)
        except BrokenPipeError:
            raise self._death() from None

    def receive(self, deadline_s: float) -> bytes:
        """Read what has come on the serial line, at least one byte.

        Parameters
        ----------
        deadline_s : float
            On the monotonic clock [s].

        Raises
        ------
        EngineError
            Nothing came in time, or the emulator has died.
        """
        stdout = self.process.stdout
        assert stdout is not None
        left_s = max(0.0, deadline_s - time.monotonic())
        if not select.select([stdout], [], [], left_s)[0]:
            raise EngineError(
                f"the emulated board does not answer: run less beside it; {_REMEDY}"
            )
        raw = os.read(stdout.fileno(), _PIECE_BYTES)
        if not raw:
            raise self._death()
        return raw

    def _death(self) -> EngineError:
        process = self.process
        code = process.wait(_END_WAIT_S)
        assert process.stderr is not None
        said = process.stderr.read().decode(errors="replace").strip()
        words = said.splitlines()[-1] if said else f"exit code {code}"
        return EngineError(f"the emulator died: {words}; {_REMEDY}")


def run_to_end(command: list[str], folder: Path, timeout_s: float) -> str:
    """Run an emulator that ends by itself; return what it printed.

    Parameters
    ----------
    command : list of str
    folder : Path
        Where it runs: its program's files.
    timeout_s : float
        Then it is ended [s].

    Raises
    ------
    EngineError
        It cannot be started, failed, or did not end in time.
    """
    try:
        done = subprocess.run(
            dying_with_parent() + command,
            cwd=folder,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            timeout=timeout_s,
            check=False,
        )
    except subprocess.TimeoutExpired:
        raise EngineError(
            f"the emulator had not ended after {timeout_s:g} s; {_REMEDY}"
        ) from None
    except OSError as error:
        raise EngineError(f"{command[0]}: {error.strerror}; {_REMEDY}") from None
    if done.returncode:
        said = (done.stderr or done.stdout).strip().splitlines()
        words = said[0] if said else f"exit code {done.returncode}"
        raise EngineError(f"the emulated program failed: {words}")
    return done.stdout


def dying_with_parent() -> list[str]:
    """Give the start of a command whose process dies with this one, if possible."""
    # A killed interpreter runs no handler; the kernel then has to do it.
    program = shutil.which("setpriv")
    return [program, "--pdeathsig", "KILL"] if program else []
