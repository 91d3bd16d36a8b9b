"""One interface to every device: open, exchange a tick, command, read, close."""

import secrets
import struct
import time
from array import array
from collections.abc import Sequence
from dataclasses import dataclass
from types import TracebackType
from typing import NamedTuple, Self

from firmware_model.device import protocol
from firmware_model.device.block import block_bytes
from firmware_model.device.layout import DEVICE_PARAMETERS, DEVICE_STATE
from firmware_model.device.store import LAYOUT
from firmware_model.law.layout import PARAMETERS, STATE
from host_sim.device.block_file import pack_block, unpack_block
from host_sim.device.device_block import DeviceBlock
from host_sim.device.line import Line
from host_sim.device.messages import (
    FrameSplitter,
    pack_words,
    to_frame,
    unpack_words,
)
from host_sim.errors import InputError

DEADLINE_S = 3.0
"""For a whole exchange, repeated requests included."""
AGAIN_S = 0.25
"""Until a request is repeated; several times what a board needs."""

_SEQUENCES = 256
_HEAD_BYTES = 3
_IDENTITY = "<3BB4Hi"
_RESULTS = {
    protocol.UNKNOWN: "does not know this request",
    protocol.MALFORMED: "calls the request malformed",
    protocol.NOT_A_BLOCK: "got a block that is not whole; send it again",
    protocol.OTHER_LAYOUT: "has another layout of parameters; install the firmware "
    "that came with this integer-pilot",
    protocol.OTHER_TICK: "was made for another tick; set run.tick to the board's",
    protocol.MEDIUM_FAILED: "could not write its storage; try again, then replace it",
}


@dataclass(frozen=True)
class Identity:
    """What a device says of itself.

    Attributes
    ----------
    firmware : str
    layout : int
        Version of the stored layout.
    state_words, parameter_words : int
    most_content : int
        Longest content of a message [bytes].
    tick_us : int
        The tick that it is made for [us].
    in_step : bool
        Ticks are run by requests; else by its own clock.
    supervised : bool
        The supervisor runs around the law.
    stores : bool
        Parameters are kept and come in whole blocks.
    """

    firmware: str
    layout: int
    state_words: int
    parameter_words: int
    most_content: int
    tick_us: int
    in_step: bool
    supervised: bool
    stores: bool


class Answer(NamedTuple):
    """State words after a tick, by their names in the layout; TICKS is 16 bits."""

    TICKS: int
    TARGET: int
    SETPOINT: int
    PRESSURE: int
    ERROR: int
    FEEDFORWARD: int
    OUTPUT: int
    DRIVE: int
    COMPENSATION: int
    FAULTS: int
    ACTIVE: int
    CONDITION: int
    HELD: int
    PROPORTIONAL: int
    DERIVATIVE: int
    INTEGRAL: int
    REQUEST: int


class DeviceLink:
    """A device at the other end of a line; a context manager.

    Parameters
    ----------
    line : Line
        Open already; closed with the link.
    deadline_s, again_s : float
        For a whole exchange, and until a request is repeated [s].

    Attributes
    ----------
    identity : Identity
    repeated : int
        Requests sent again.
    strays : int
        Answers to requests that are past.
    """

    def __init__(
        self, line: Line, deadline_s: float = DEADLINE_S, again_s: float = AGAIN_S
    ) -> None:
        self.line = line
        self.deadline_s = deadline_s
        self.again_s = again_s
        self.repeated = self.strays = 0
        self._frames = FrameSplitter(line.text)
        self._sequence = 0
        self._heard = 0

    def __enter__(self) -> Self:
        """Ask who is there; refuse another firmware or layout."""
        try:
            self.identity = self._identify()
        except BaseException:
            self.close()
            raise
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        """Close the line."""
        self.close()

    def close(self) -> None:
        """Close the line; again does nothing."""
        self.line.close()

    def require_clock(self, own: bool) -> None:
        """Refuse a device that ticks by a clock when it should not, or the reverse.

        Raises
        ------
        InputError
        """
        if self.identity.in_step == own:
            does = "in step" if self.identity.in_step else "by its own clock"
            remedy = "leave out" if own else "add"
            raise InputError(
                f"{self.line.name}: the device ticks {does}; {remedy} --free-running"
            )

    @property
    def bad_frames(self) -> int:
        """Frames that came and were none, or were changed on the way."""
        return self._frames.bad

    def exchange(
        self, current: int, pressure: int, supply: int, late: int = 0
    ) -> Answer:
        """Give a tick's counts; return what the device made of them.

        Parameters
        ----------
        current, pressure, supply : int
            Converter counts, 0 ... 32 767.
        late : int
            Ticks late or missed since the last one.

        Raises
        ------
        InputError
            Silence, a lost line, or a device that refuses.
        """
        content = struct.pack("<4H", current, pressure, supply, late)
        answer = self.ask(protocol.TICK, content)
        return Answer(*struct.unpack("<H7hH4h4i", answer))

    def command(self, what: int, word: int = 0) -> None:
        """Give a command of `protocol`: 0 ... 2 a mode, DEMAND, CONFIRM, ..."""
        self.ask(protocol.COMMAND, struct.pack("<Bi", what, word))

    def change(self, edits: Sequence[tuple[str, int]]) -> None:
        """Change parameters by name, all or none, without a bump."""
        slots = DeviceBlock.slot
        pieces = (struct.pack("<Bi", slots[name], word) for name, word in edits)
        self.ask(protocol.CHANGE, b"".join(pieces))

    def read_state(self) -> dict[str, int]:
        """Read all state words."""
        words = self.read_words(protocol.OF_STATE, self.identity.state_words)
        names = (row[0] for row in DEVICE_STATE)
        return dict(zip(names, words, strict=False))

    def read_block(self) -> DeviceBlock:
        """Read the parameters in use, as the block that would be stored."""
        size, raw = block_bytes(self.identity.parameter_words), b""
        while len(raw) < size:
            count = min(size - len(raw), self.identity.most_content, 255)
            raw += self.ask(protocol.FETCH, struct.pack("<HB", len(raw), count))
        return unpack_block(raw, self.line.name).block

    def write_block(self, block: DeviceBlock) -> None:
        """Send parameters; they are used at once, and not saved."""
        raw = pack_block(block)
        step = self.identity.most_content - 2
        for first in range(0, len(raw), step):
            piece = raw[first : first + step]
            self.ask(protocol.SEND, struct.pack("<H", first) + piece)
        self.ask(protocol.TAKE, b"")

    def read_words(self, whose: int, count: int) -> list[int]:
        """Read the first words of an array by its number in `protocol`."""
        words: list[int] = []
        step = self.identity.most_content // 4
        while len(words) < count:
            content = bytes((whose, len(words), min(step, count - len(words))))
            words += unpack_words(self.ask(protocol.READ, content))
        return words

    def write_words(self, whose: int, words: Sequence[int], first: int = 0) -> None:
        """Write words of the trial's arrays."""
        step = (self.identity.most_content - 2) // 4
        for at in range(0, len(words), step):
            head = bytes((whose, first + at))
            piece = pack_words(list(words[at : at + step]))
            self.ask(protocol.WRITE, head + piece)

    def try_tick(self, inputs: "array[int] | None") -> list[int]:
        """Run the law on the trial's arrays; None resets it. Return its state."""
        content = b"" if inputs is None else struct.pack("<5h", *inputs)
        return unpack_words(self.ask(protocol.TRY, content))

    def ask(self, kind: int, content: bytes) -> bytes:
        """Send a request until it is answered; return the answer's content.

        Raises
        ------
        InputError
            Silence up to the deadline, a lost line, or a refusal.
        """
        self._sequence = (self._sequence + 1) % _SEQUENCES
        answer = self._exchange(bytes((kind, self._sequence)) + content)
        result = answer[2]
        if result == protocol.OUT_OF_RANGE:
            slot = answer[_HEAD_BYTES : _HEAD_BYTES + 1]
            which = f" in slot {slot[0]}" if slot else ""
            raise InputError(
                f"{self.line.name}: the device refuses a word{which} that is out of "
                "range; send one within the range of the layout"
            )
        if result != protocol.OK:
            why = _RESULTS.get(result, f"answers with result {result}")
            raise InputError(f"{self.line.name}: the device {why}")
        return answer[_HEAD_BYTES:]

    def _exchange(self, message: bytes) -> bytes:
        frame = to_frame(message, self.line.text)
        head = bytes((message[0] | protocol.ANSWER, message[1]))
        now_s = time.monotonic()
        deadline_s = now_s + self.deadline_s
        self.line.send(frame)
        again_s = now_s + self.again_s
        while now_s < deadline_s:
            raw = self.line.receive(max(0.0, min(again_s, deadline_s) - now_s))
            self._heard += len(raw)
            wanted = b""
            for answer in self._frames.take(raw):
                if answer[:2] == head and len(answer) >= _HEAD_BYTES and not wanted:
                    wanted = answer
                else:
                    self.strays += 1
            if wanted:
                return wanted
            now_s = time.monotonic()
            if now_s >= again_s:
                self.line.send(frame)
                self.repeated += 1
                again_s = now_s + self.again_s
        raise InputError(self._silence())

    def _silence(self) -> str:
        heard = f"{self._heard} bytes came, none of them an answer"
        said = heard if self._heard else "nothing came"
        return (
            f"{self.line.name}: silent device, {said} within {self.deadline_s:g} s; "
            f"{self.line.remedy}"
        )

    def _identify(self) -> Identity:
        # Another number than last time begins anew, whatever the sequence was.
        session = secrets.randbelow(0x10000)
        raw = self.ask(protocol.IDENTIFY, struct.pack("<H", session))
        if len(raw) != struct.calcsize(_IDENTITY):
            raise InputError(
                f"{self.line.name}: an identity of {len(raw)} bytes; install the "
                "firmware that came with this integer-pilot"
            )
        *firmware, flags, layout, state, parameters, most, tick_us = struct.unpack(
            _IDENTITY, raw
        )
        identity = Identity(
            firmware=".".join(map(str, firmware)),
            layout=layout,
            state_words=state,
            parameter_words=parameters,
            most_content=most,
            tick_us=tick_us,
            in_step=bool(flags & protocol.IN_STEP),
            supervised=bool(flags & protocol.SUPERVISED),
            stores=bool(flags & protocol.STORES),
        )
        self._check(identity)
        return identity

    def _check(self, identity: Identity) -> None:
        known = ".".join(map(str, protocol.FIRMWARE))
        remedy = f"run `integer-pilot device install {self.line.name}`"
        if identity.firmware != known:
            raise InputError(
                f"{self.line.name}: firmware version {identity.firmware}, this "
                f"integer-pilot works with {known}; {remedy}"
            )
        if identity.layout != LAYOUT[0]:
            raise InputError(
                f"{self.line.name}: layout version {identity.layout}, this "
                f"integer-pilot works with {LAYOUT[0]}; {remedy}"
            )
        whole = (len(DEVICE_STATE), len(DEVICE_PARAMETERS))
        law = (len(STATE), len(PARAMETERS))
        if (identity.state_words, identity.parameter_words) not in (whole, law):
            raise InputError(
                f"{self.line.name}: {identity.state_words} state words and "
                f"{identity.parameter_words} parameters, known are {whole[0]} and "
                f"{whole[1]}; {remedy}"
            )
