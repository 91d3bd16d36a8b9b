"""The emulated 16-KB board: law and link together, by the frames of all others.

There is room for the law and a link that knows four requests: identity, tick, read
and write words. What such a board leaves out: supervisor and faults, stored
parameters, their check, console, keys, self-tuning. Malformed requests get no
answer, and it ignores the session number of an identity.
"""

import re
import select
import struct
from contextlib import ExitStack

from firmware_model.device import protocol
from firmware_model.device.store import LAYOUT
from firmware_model.law import layout
from host_sim.device.line import LineLostError
from host_sim.errors import InputError
from host_sim.prove.board_engine import BOARD_ENGINES, PARAMETERS, STATE, started_board
from host_sim.prove.board_fold import fold_in_pieces
from host_sim.prove.board_line import BoardLine
from host_sim.prove.emulator import Emulator
from host_sim.prove.engine import EngineError

MOST_CONTENT = 50
"""Bytes in a message; with head, CRC and stuffing the board's line holds 64."""
TRIES = 6
"""For a piece of source: how its bytes arrive decides where on the heap it lies."""

# Names in the firmware's own memory cost none of the board's.
_KNOWN_NAMES = """
pin0 pin1 pin2 pin3 pin4 pin5 pin6 pin7 pin8 pin9 pin10 pin11 pin12 pin13 pin14 pin15
pin16 pin19 pin20 sin cos tan exp log pow sqrt ceil add pop get sort copy find join
keys send close throw init show clear bin hex oct id map set sum zip dir hash iter
next repr open type ord list dict
"""
# One letter each: C takes a CRC, R a frame, P sends one, S shows a tick, D does
# what is asked, G gives the stages to be run, F ends the law's tick.
_CRC = """\
def C(b):
 c = 65535
 for a in b:
  a ^= c >> 8
  a ^= a >> 4
  c = (c << 8 ^ a << 12 ^ a << 5 ^ a) & 65535
 return c
"""
_TAKE_FRAME = r"""def R():
 a = b''
 while 1:
  while not a or a[-1]:
   if uart.any():
    a = a[-90:] + uart.read(15)
  a = a.split(b'\0')[-2]
  b = b''
  while a:
   b += a[1:a[0]] + b'\0'
   a = a[a[0]:]
  b = b[:-1]
  if len(b) > 3 and C(b) == 7439:
   return b[:-2]
"""
_SEND_FRAME = """\
def P(n):
 global s
 c = C(B[1:n]) ^ 65535
 B[n] = c >> 8
 B[n + 1] = c & 255
 B[n + 2] = 0
 c = 0
 d = 1
 for a in B[1:n + 3]:
  if not a:
   B[c] = d - c
   c = d
  d += 1
 s = B[:d]
 uart.write(s)
"""
_DO = """\
def D(k, f):
 if k == 1:
  return I
 c = b if f[0] & 1 else a
 if k == 3:
  return bytes(c[f[1]:f[1] + f[2]])
 k = f[1]
 f = f[2:]
 while f:
  c[k] = unpack('<i', f[:4])[0]
  f = f[4:]
  k += 1
 return b''
"""
_GIVE_STAGES = """\
def G():
 global q
 f = R()
 if f[0] != 1:
  if f[1] == q:
   uart.write(s)
  if f[1] != q + 1 & 255:
   return ()
 q = f[1]
 if f[0] == 2:
  a[0], a[1], a[2], d = unpack('<4h', f[2:])
  return t
 B[1] = f[0] + 128
 B[2] = q
 B[3] = 0
 d = 4
 for f in D(f[0], f[2:]):
  B[d] = f
  d += 1
 P(d)
 return ()
"""
# At the prompt's own level: the law's calls need all of the board's stack. Nothing
# that comes may end the loop.
_LOOP = """\
while 1:
 try:
  for k in G():
   k(a, b)
 except Exception:
  pass
"""
_ANSWER_BYTES = 45
_RUNNING, _NONE_HELD = 1, 0


class EmulatedLine:
    """The emulated board, loaded and serving; ended with the line.

    Parameters
    ----------
    tick_us : int
        The tick that it says it is made for [us]; it has no clock of its own.

    Raises
    ------
    InputError
        The emulator or the board's firmware is missing, or it does not start.
    """

    name = "emulated"
    remedy = "run less beside it"
    text = False

    def __init__(self, tick_us: int) -> None:
        (engine,) = BOARD_ENGINES
        if missing := engine.missing():
            raise InputError(f"emulated: {missing} is missing; {engine.remedy}")
        self._stack = ExitStack()
        self.free_bytes = 0
        self._emulator = self._start(tick_us)

    def send(self, raw: bytes) -> None:
        """Send bytes.

        Raises
        ------
        LineLostError
            The emulator has died.
        """
        try:
            self._emulator.send(raw)
        except EngineError as error:
            raise LineLostError(f"emulated: {error}") from None

    def receive(self, wait_s: float) -> bytes:
        """Give what has come, waiting for a byte up to so long [s].

        Raises
        ------
        LineLostError
            The emulator has died.
        """
        try:
            stdout = self._emulator.process.stdout
            assert stdout is not None
            if not select.select([stdout], [], [], wait_s)[0]:
                return b""
            return self._emulator.receive(0.0)
        except EngineError as error:
            raise LineLostError(f"emulated: {error}") from None

    def close(self) -> None:
        """End the emulator; again does nothing."""
        self._stack.close()

    def _start(self, tick_us: int) -> Emulator:
        try:
            line = self._stack.enter_context(started_board())
            self.free_bytes = _load(line, tick_us)
            line.hand_over(_LOOP)
        except EngineError as error:
            self._stack.close()
            raise InputError(f"emulated: {error}") from None
        except BaseException:
            self._stack.close()
            raise
        return line.emulator


def _load(line: BoardLine, tick_us: int) -> int:
    """Send all pieces, the longest first; return what heap is left [bytes]."""
    functions, stages = _functions()
    names = [_name(function) for function in functions]
    line.load("from ustruct import pack_into as pack\n")
    line.load(" = ".join([*names, *"tBIqsk"]) + " = None\n")
    line.load(STATE)
    line.load(PARAMETERS)
    # The longest message with its code, its CRC and its end.
    line.load(f"B = bytearray({MOST_CONTENT + 14})\n")
    line.load(f"q = 0\nI = {_identity(tick_us)!r}\nt = [None] * {len(stages)}\n")
    for function in sorted(functions, key=len, reverse=True):
        name = _name(function)
        place = f"t[{stages.index(name)}] = {name}\n" if name in stages else ""
        _load_piece(line, function.rstrip("\n") + "\n" + place)
    line.ask("del load, take; gc.collect()")
    return line.free_bytes()


def _load_piece(line: BoardLine, source: str) -> None:
    for left in reversed(range(TRIES)):
        try:
            return line.load(source)
        except EngineError:
            if not left:
                raise
    raise AssertionError


def _functions() -> tuple[list[str], list[str]]:
    """Collect all functions with names that the firmware knows, and the stages."""
    law = fold_in_pieces()
    # Reset writes words that the computer can write.
    folded = [one for one in law.functions if _name(one) != "reset"]
    known = dict(zip(map(_name, folded), _KNOWN_NAMES.split(), strict=False))
    assert len(known) == len(folded)

    def renamed(text: str) -> str:
        return re.sub(r"\b[a-z][A-Z]\b", lambda found: known[found[0]], text)

    rest = "\n".join(f" {line}" for line in law.rest.splitlines())
    functions = [renamed(one) for one in folded]
    functions += [f"def F(a, b):\n{rest}\n", _show_tick()]
    functions += [_CRC, _TAKE_FRAME, _SEND_FRAME, _DO, _GIVE_STAGES]
    return functions, [*re.findall(r"\w+", renamed(law.stages))[1:], "F", "S"]


def _show_tick() -> str:
    law_words = len(layout.STATE)
    constants = {47: _RUNNING, 49: _NONE_HELD}
    slots = protocol.TICK_HALVES + protocol.TICK_WORDS
    words = [f"a[{k}]" if k < law_words else str(constants[k]) for k in slots]
    head = f"'<BBB13h4i', B, 1, {protocol.TICK | protocol.ANSWER}, q, 0"
    return f"def S(a, b):\n pack({head}, {', '.join(words)})\n P({_ANSWER_BYTES + 1})\n"


def _identity(tick_us: int) -> bytes:
    counts = (len(layout.STATE), len(layout.PARAMETERS), MOST_CONTENT)
    return struct.pack(
        "<3BB4Hi", *protocol.FIRMWARE, protocol.IN_STEP, LAYOUT[0], *counts, tick_us
    )


def _name(function: str) -> str:
    return function.removeprefix("def ").split("(")[0]
