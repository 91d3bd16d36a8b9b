"""The law on real firmware: MicroPython 1.9.2 on an emulated Cortex-M0 board.

The board has 16 KB of memory and no `binascii`, so it sends back all state words
of every tick, and the CRC-32 is taken here.
"""

import shutil
import struct
from array import array
from binascii import crc32
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from textwrap import indent
from typing import IO

from firmware_model.law import layout
from host_sim.prove import replay
from host_sim.prove.board_fold import fold_in_pieces
from host_sim.prove.board_line import BoardLine
from host_sim.prove.emulator import Emulator
from host_sim.prove.engine import Engine
from host_sim.prove.episodes import INPUTS

PROGRAM = "qemu-system-arm"
FIRMWARE = Path("/usr/share/firmware-microbit-micropython/firmware.hex")
COUNTING = ("-icount", "shift=0")

# State and parameters by the names that folding gives to first arguments.
STATE = f"a = array('i', [0] * {len(layout.STATE)})\n"
PARAMETERS = f"b = array('i', [0] * {len(layout.PARAMETERS)})\n"
_LOOP_NAMES = "_ = k = word = stage = None\n"
_FILL = """\
def fill(words):
 for slot in range(len(words)):
  words[slot] = unpack('<i', take(4))[0]
  uart.write(b'=')
 gc.collect()
"""
# The chain of calls below `tick` takes all of the board's stack, so what `tick`
# does is done here, at the prompt's own level. A new name would
# allocate, so its names are made before.
_RUN = """\
for _ in range({ticks}):
 for k, word in enumerate(unpack('<5h', take(10))):
  a[k] = word
 heap_lock()
 try:
  for stage in stages:
   stage(a, b)
{rest}
 finally:
  heap_unlock()
 uart.write(b'=')
 uart.write(a)
gc.collect()
"""
_LEAK = "\na[-1] = len([a[-1]]) - 1"


@contextmanager
def started_board(*options: str) -> Iterator[BoardLine]:
    """Start the emulated board and greet it; end it whatever happens.

    Parameters
    ----------
    *options : str
        More options of the emulator.

    Raises
    ------
    EngineError
        It does not start or does not answer.
    """
    command = [PROGRAM, "-M", "microbit", "-device", f"loader,file={FIRMWARE}"]
    command += ["-display", "none", "-monitor", "none", *options]
    command += ["-chardev", "stdio,id=line,signal=off", "-serial", "chardev:line"]
    with Emulator(command) as emulator:
        line = BoardLine(emulator)
        line.greet()
        yield line


def load_law(line: BoardLine) -> str:
    """Send the folded law.

    Returns
    -------
    str
        What `tick` does beside its calls of ``stages``, which the board now has.
    """
    pieces = fold_in_pieces()
    for source in (pieces.names, *pieces.functions, pieces.stages):
        line.load(source)
    return pieces.rest


def load_replay(line: BoardLine) -> None:
    """Make the arrays and send what fills them."""
    for source in (_LOOP_NAMES, STATE, PARAMETERS, _FILL):
        line.load(source)


def fill(line: BoardLine, name: str, words: "array[int]") -> None:
    """Fill an array on the board."""
    pieces = (struct.pack("<i", word) for word in words)
    for _ in line.exchange(f"fill({name})", pieces, 0):
        pass


def _run_board(path: Path, law: str) -> list[str]:
    with started_board() as line, path.open("rb") as stream:
        load_replay(line)
        rest = load_law(line) + (_LEAK if law == "leaking" else "")
        line.drop_loader()
        return list(_replay_episodes(line, stream, rest))


def _replay_episodes(line: BoardLine, stream: IO[bytes], rest: str) -> Iterator[str]:
    head = replay.read_words(stream, 3)
    while head[0]:
        fill(line, "b", replay.read_words(stream, head[0]))
        state = replay.read_words(stream, head[1])
        fill(line, "a", state)
        inputs = replay.read_words(stream, INPUTS * head[2])
        pieces = (
            struct.pack("<5h", *inputs[k : k + INPUTS])
            for k in range(0, len(inputs), INPUTS)
        )
        run = _RUN.format(ticks=head[2], rest=indent(rest, "  "))
        crc, last = 0, state.tobytes()
        for record in line.exchange(run, pieces, len(last)):
            crc, last = crc32(record, crc), record
        words = struct.unpack(f"<{len(state)}i", last)
        yield f"{crc:08x} {' '.join(str(word) for word in words)}"
        head = replay.read_words(stream, 3)


def _lacking() -> str:
    lost = [] if shutil.which(PROGRAM) else [PROGRAM]
    lost += [] if FIRMWARE.exists() else [str(FIRMWARE)]
    return ", ".join(lost)


BOARD_ENGINES = (
    Engine(
        "MicroPython 1.9.2, Cortex-M0 board",
        "apt install qemu-system-arm firmware-microbit-micropython (Debian)",
        _lacking,
        _run_board,
    ),
)
