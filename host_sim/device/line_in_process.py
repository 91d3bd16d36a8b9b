"""The board's own link and device in this process: a line without a wire."""

from firmware_model.device.link import Link
from host_sim.device.unix_board import new_device


class InProcessLine:
    """A device in this process, by the same frames as all others.

    Parameters
    ----------
    tick_us : int
        The tick that it is made for [us].
    text : bool
        The form of its frames.
    """

    name = "model"
    remedy = "report this: the model always answers"

    def __init__(self, tick_us: int, text: bool = False) -> None:
        self.text = text
        self.link = Link(new_device(tick_us), text, True)
        self._came = bytearray()

    def send(self, raw: bytes) -> None:
        """Let the device take bytes."""
        for byte in raw:
            length = self.link.take(byte)
            self._came += self.link.writer.frame[:length]

    def receive(self, wait_s: float) -> bytes:
        """Give what it answered; there is nothing to wait for."""
        came, self._came = bytes(self._came), bytearray()
        return came

    def close(self) -> None:
        """Do nothing: there is no wire."""
