"""A terminal on a device's line: bytes through, both ways."""

import os
import select
from typing import BinaryIO

from host_sim.device.line import Line

_WAIT_S = 0.05
_LINGER_S = 0.5
_PIECE_BYTES = 1_024


def talk(line: Line, source: BinaryIO, sink: BinaryIO) -> None:
    """Pass bytes both ways until the source ends and the device says no more.

    Parameters
    ----------
    line : Line
    source, sink : binary files
        What a person types, and where the device's words go.

    Raises
    ------
    LineLostError
    """
    is_open = True
    while True:
        if is_open and select.select([source], [], [], 0.0)[0]:
            typed = os.read(source.fileno(), _PIECE_BYTES)
            is_open = bool(typed)
            if typed:
                line.send(typed)
        said = line.receive(_WAIT_S if is_open else _LINGER_S)
        sink.write(said)
        sink.flush()
        if not is_open and not said:
            return
