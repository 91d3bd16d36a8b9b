"""A board on a serial port."""

import errno

import serial
from serial.tools.list_ports import comports

from host_sim.device.line import LineLostError
from host_sim.errors import InputError

BAUD = 115_200
"""Of a UART; USB ports take any."""


class PortLine:
    """A serial port, held alone.

    Parameters
    ----------
    port : str
        As the operating system names it.

    Raises
    ------
    InputError
        No such port, busy, or no permission.
    """

    remedy = (
        "power the board, check port and wires, and that its main serves the link: "
        "`integer-pilot device install PORT`"
    )
    # A prompt is below on most boards, and byte 3 must go on stopping the program.
    text = True

    def __init__(self, port: str) -> None:
        self.name = port
        self._port = open_port(port)

    def send(self, raw: bytes) -> None:
        """Send bytes.

        Raises
        ------
        LineLostError
        """
        try:
            self._port.write(raw)
        except (OSError, TypeError):
            raise self._lost() from None

    def receive(self, wait_s: float) -> bytes:
        """Give what has come, waiting for a byte up to so long [s].

        Raises
        ------
        LineLostError
        """
        try:
            self._port.timeout = wait_s
            first = self._port.read(1)
            return bytes(first + self._port.read(self._port.in_waiting))
        except (OSError, TypeError):
            raise self._lost() from None

    def close(self) -> None:
        """Give the port back; again does nothing."""
        self._port.close()

    def _lost(self) -> LineLostError:
        return LineLostError(
            f"{self.name}: the line is lost, cable pulled or board reset; plug it in "
            "again and repeat the command"
        )


def open_port(port: str) -> serial.Serial:
    """Open a port for one user alone.

    Raises
    ------
    InputError
        In one line: no such port, busy, or no permission.
    """
    try:
        return serial.Serial(port, BAUD, exclusive=True, write_timeout=1.0)
    except (OSError, ValueError) as error:
        raise InputError(f"{port}: {_why(port, error)}") from None


def _why(port: str, error: Exception) -> str:
    number = getattr(error, "errno", None)
    if number == errno.ENOENT:
        there = ", ".join(sorted(found.device for found in comports())) or "none"
        return f"no such port; ports here: {there}; plug the board in, name one of them"
    if number in (errno.EACCES, errno.EPERM):
        return (
            "permission denied; join the group that owns the port (often dialout) "
            "and log in anew"
        )
    busy = "lock port" in str(error)
    if busy or number in (errno.EBUSY, errno.EAGAIN):
        return "port busy; close the program that holds it"
    return f"no serial port ({error}); name one, or model, unix or emulated"
