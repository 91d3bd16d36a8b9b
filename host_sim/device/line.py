"""What carries bytes to a device and back, and how it fails."""

from typing import Protocol

from host_sim.errors import InputError


class LineLostError(InputError):
    """The line ended while it was in use: a pulled cable, a process that died."""


class Line(Protocol):
    """Bytes both ways.

    Attributes
    ----------
    name : str
        For messages: what the user called it.
    remedy : str
        What to do when nothing answers there.
    text : bool
        The form of its frames.
    """

    name: str
    remedy: str
    text: bool

    def send(self, raw: bytes) -> None:
        """Send bytes.

        Raises
        ------
        LineLostError
        """

    def receive(self, wait_s: float) -> bytes:
        """Give what has come, waiting for a byte up to so long [s].

        Returns
        -------
        bytes
            Empty when nothing came.

        Raises
        ------
        LineLostError
        """

    def close(self) -> None:
        """Give the line back; end what was started for it."""
