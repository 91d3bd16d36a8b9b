"""Talk with a MicroPython board over a serial line that holds 64 bytes.

Short commands go through the raw prompt; all else is sent in pieces that the
board acknowledges, so that nothing depends on pauses. A record from the board
starts with ``=``; the prompt's own end of output starts with byte 4.
"""

import time
from collections import deque
from collections.abc import Iterable, Iterator
from itertools import islice

from host_sim.prove.emulator import Emulator
from host_sim.prove.engine import EngineError

ANSWER_S = 20.0
_LINE_BYTES = 48
_TYPED_BYTES = 16
_FILE_PART = 300
_TYPED_PAUSE_S = 0.004
_RAW_MODE, _PLAIN_MODE, _END = b"\x01", b"\x02", b"\x04"
_ACKNOWLEDGED = b"="

# What the board needs to take its part; typed at its prompt, which keeps a buffer
# as long as the longest command for ever.
_HELPERS = (
    """\
globals().clear()
import gc
from array import array
from microbit import uart
from micropython import heap_lock, heap_unlock, kbd_intr, opt_level
from ustruct import unpack
opt_level(3)
""",
    """\
def ready():
 kbd_intr(-1)
 gc.collect()
 uart.write(b'=')
def take(size):
 got = b''
 while len(got) < size:
  got += uart.read(size - len(got)) or b''
 return got
""",
    """\
def load(size):
 text = b''
 while len(text) < size:
  text += take(min(16, size - len(text)))
  uart.write(b'=')
 gc.collect()
 exec(text)
 gc.collect()
""",
)


class BoardLine:
    """A board's prompt, and records from the program that runs on it.

    Parameters
    ----------
    emulator : Emulator
        Already started; its line shows the board's prompt.

    Attributes
    ----------
    emulator : Emulator
    """

    def __init__(self, emulator: Emulator) -> None:
        self.emulator = emulator
        self._came = b""
        self._deadline_s = 0.0

    def greet(self) -> None:
        """Wait for the prompt, change to its raw mode, send the helpers."""
        self._start_clock()
        self._until(b">>> ")
        self.emulator.send(_RAW_MODE)
        self._until(b"raw REPL; CTRL-B to exit\r\n>")
        for helper in _HELPERS:
            self.ask(helper)

    def ask(self, code: str) -> str:
        """Run code that takes no input; return what it printed.

        Raises
        ------
        EngineError
            The board raised an exception, or did not answer.
        """
        self._type(code)
        return self._finish().decode().strip()

    def load(self, source: str) -> None:
        """Send source in acknowledged pieces and run it."""
        raw = source.encode()
        pieces = (raw[k : k + 16] for k in range(0, len(raw), 16))
        for _ in self.exchange(f"load({len(raw)})", pieces, 0):
            pass

    def drop_loader(self) -> None:
        """Give back the memory of what `load` needs on the board."""
        self.ask("del load; gc.collect()")

    def free_bytes(self) -> int:
        """Free heap after a collection [bytes]."""
        return int(self.ask("gc.collect(); print(gc.mem_free())"))

    def write_file(self, name: str, text: str) -> None:
        """Write a file on the board, in parts that its memory can hold."""
        self.ask(f"file = open('{name}', 'w')")
        for k in range(0, len(text), _FILE_PART):
            self.load(f"file.write({text[k : k + _FILE_PART]!r})\n")
        self.ask("file.close()")

    def restart_until(self, mark: str) -> str:
        """Reset the board, so that it runs its own `main.py`, until it prints a mark.

        Returns
        -------
        str
            What it printed before.
        """
        self._start_clock()
        self.emulator.send(_PLAIN_MODE)
        self._until(b">>> ")
        self.emulator.send(_END)
        return self._until(mark.encode()).decode()

    def exchange(
        self, code: str, pieces: Iterable[bytes], reply_bytes: int
    ) -> Iterator[bytes]:
        """Run code that answers each piece of input with one record.

        Parameters
        ----------
        code : str
        pieces : iterable of bytes
            Sent so that no more waits unread than the board's line can hold.
        reply_bytes : int
            Length of a record after its mark.

        Yields
        ------
        bytes
            One record for each piece.

        Raises
        ------
        EngineError
            The board raised an exception, or did not answer.
        """
        # The prompt takes byte 3 for an interrupt until it is told not to.
        self._type(f"ready()\n{code}")
        self._record(0)
        waiting: deque[int] = deque()
        for piece in pieces:
            while sum(waiting) + len(piece) > _LINE_BYTES:
                waiting.popleft()
                yield self._record(reply_bytes)
            self.emulator.send(piece)
            waiting.append(len(piece))
        for _ in islice(waiting, len(waiting)):
            yield self._record(reply_bytes)
        self._finish()

    def hand_over(self, code: str) -> None:
        """Run code that goes on for ever; the line is the caller's from now on."""
        # The prompt takes byte 3 for an interrupt until it is told not to.
        self._type(f"ready()\n{code}")
        self._record(0)

    def _type(self, code: str) -> None:
        self._start_clock()
        raw = code.encode() + _END
        for k in range(0, len(raw), _TYPED_BYTES):
            self.emulator.send(raw[k : k + _TYPED_BYTES])
            if len(raw) > _LINE_BYTES:
                time.sleep(_TYPED_PAUSE_S)
        self._until(b"OK")

    def _record(self, reply_bytes: int) -> bytes:
        self._start_clock()
        mark = self._exactly(1)
        if mark == _ACKNOWLEDGED:
            return self._exactly(reply_bytes)
        self._came = mark + self._came
        self._finish()
        raise EngineError("the board stopped before its input ended")

    def _finish(self) -> bytes:
        printed = self._until(_END)
        error = self._until(_END + b">")
        if error:
            raise EngineError("the board: " + error.decode().split("\r\n")[-2])
        return printed

    def _start_clock(self) -> None:
        self._deadline_s = time.monotonic() + ANSWER_S

    def _until(self, mark: bytes) -> bytes:
        while mark not in self._came:
            self._came += self.emulator.receive(self._deadline_s)
        found, self._came = self._came.split(mark, 1)
        return found

    def _exactly(self, count: int) -> bytes:
        while len(self._came) < count:
            self._came += self.emulator.receive(self._deadline_s)
        found, self._came = self._came[:count], self._came[count:]
        return found
