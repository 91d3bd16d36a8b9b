"""Read each function's frame size from a compiled MicroPython file.

Layout of .mpy version 6 and of the bytecode prelude as probed on what
mpy-cross 1.28 writes; `test_frames.py` checks the reader against functions of
known size before it trusts it.
"""

from collections.abc import Iterator
from pathlib import Path


class _Reader:
    def __init__(self, raw: bytes) -> None:
        self.raw = raw
        self.at = 0

    def byte(self) -> int:
        self.at += 1
        return self.raw[self.at - 1]

    def number(self) -> int:
        value = 0
        while True:
            byte = self.byte()
            value = value << 7 | byte & 0x7F
            if not byte & 0x80:
                return value

    def skip(self, count: int) -> None:
        self.at += count


def frame_sizes(path: Path) -> list[tuple[str, int]]:
    """List (function name, state slots) of every function, module body first."""
    reader = _Reader(path.read_bytes())
    assert reader.raw[:2] == b"M\x06", "not a .mpy file of version 6"
    reader.skip(4)
    strings, objects = reader.number(), reader.number()
    names = [_read_string(reader) for _ in range(strings)]
    for _ in range(objects):
        _skip_object(reader)
    return list(_functions(reader, names))


def _read_string(reader: _Reader) -> str:
    head = reader.number()
    if head & 1:
        return f"<built-in string {head >> 1}>"
    start = reader.at
    reader.skip((head >> 1) + 1)
    return reader.raw[start : reader.at - 1].decode()


def _skip_object(reader: _Reader) -> None:
    kind = reader.byte()
    if kind in (5, 6):
        reader.skip(reader.number() + 1)
    elif kind in (7, 8, 9):
        reader.skip(reader.number())
    elif kind == 10:
        for _ in range(reader.number()):
            _skip_object(reader)


def _functions(reader: _Reader, names: list[str]) -> Iterator[tuple[str, int]]:
    head = reader.number()
    assert head & 3 == 0, "not bytecode"
    end = reader.at + (head >> 3)
    slots = _state_slots(reader)
    _skip_sizes(reader)
    yield names[reader.number()], slots
    reader.at = end
    if head & 4:
        for _ in range(reader.number()):
            yield from _functions(reader, names)


def _state_slots(reader: _Reader) -> int:
    byte = reader.byte()
    slots = byte >> 3 & 0xF
    turn = 0
    while byte & 0x80:
        byte = reader.byte()
        slots |= (byte & 0x30) << 2 * turn
        turn += 1
    return slots + 1


def _skip_sizes(reader: _Reader) -> None:
    while reader.byte() & 0x80:
        pass
