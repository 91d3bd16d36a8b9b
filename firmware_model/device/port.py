"""One serial line for two: frames for a computer, console lines for a person.

A line that begins with ``!`` is a frame in text (`frames`), any other one is the
console's. So a terminal program and the link need no agreement beforehand.
"""

from firmware_model.law.arith import const

_MARK = const(33)
_NEWLINE = const(10)


class Port:
    """Sorts what comes in.

    Parameters
    ----------
    link : Link
        With frames in text.
    console : Console
    send : callable
        Takes the bytes of an answer.
    """

    def __init__(self, link, console, send) -> None:
        self.link = link
        self.console = console
        self.send = send
        self.is_new_line = True
        self.is_frame = False
        self.frame = memoryview(link.writer.frame)

    def take(self, byte: int) -> None:
        """Take one byte from the line."""
        if self.is_new_line:
            self.is_frame = byte == _MARK
        self.is_new_line = byte == _NEWLINE
        if not self.is_frame:
            self.console.feed(byte)
            return
        length = self.link.take(byte)
        if length:
            self.send(self.frame[:length])
