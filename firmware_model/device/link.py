"""The computer's link on the board: takes bytes, answers frames (`protocol`)."""

from array import array

from firmware_model.device.block import get_half, get_word, put_half, put_word
from firmware_model.device.frames import FrameReader, FrameWriter
from firmware_model.device.link_block import BlockLink
from firmware_model.device.protocol import (
    ANSWER,
    CHANGE,
    COMMAND,
    CONFIRM,
    DEMAND,
    FETCH,
    FIRMWARE,
    IDENTIFY,
    IN_STEP,
    MALFORMED,
    MEDIUM_FAILED,
    MOST_CONTENT,
    OF_TRIAL_PARAMETERS,
    OF_TRIAL_STATE,
    OK,
    OUT_OF_RANGE,
    READ,
    RESTART,
    RESTORE,
    SEND,
    STORES,
    SUPERVISED,
    TAKE,
    TAKE_FACTORY,
    TICK,
    TICK_HALVES,
    TICK_WORDS,
    TRY,
    UNKNOWN,
    WRITE,
)
from firmware_model.device.store import LAYOUT
from firmware_model.law.arith import const
from firmware_model.law.layout import PARAMETERS, STATE
from firmware_model.law.tick import reset, tick

_TICKS = const(6)
_LATE = const(42)
_COUNTS = const(32_767)
_MOST_LATE = const(1_000)
_INPUTS = const(5)
_BODY = const(2)
_ANSWER_BODY = const(3)
_SEQUENCE_MASK = const(255)
_DROPPED_LIMIT = const(1_000_000)
_COPIES = const(4)


class Link:
    """Answers one computer, between the ticks; its buffers are made once.

    Parameters
    ----------
    device : Device
    text : bool
        The form of the frames (`frames`): text where a prompt is on the line.
    in_step : bool
        A request `TICK` runs the tick. Else the board's own clock does, the counts
        of the request are only left for it, and the answer is what is there; a board
        with converters writes over them.

    Attributes
    ----------
    writer : FrameWriter
        Its frame holds the answer.
    dropped : int
        Requests out of order.
    """

    def __init__(self, device, text: bool, in_step: bool) -> None:
        self.device = device
        self.in_step = in_step
        self.reader = FrameReader(text)
        self.writer = FrameWriter(text)
        self.session = -1
        self.sequence = 0
        self.length = 0
        self.dropped = 0
        self.trial_state = array("i", [0] * len(STATE))
        self.trial_params = array("i", [row[2] for row in PARAMETERS])
        self.block = BlockLink(device, self.writer.message)
        self.word_arrays = (
            device.state,
            device.params,
            self.trial_state,
            self.trial_params,
        )

    def take(self, byte: int) -> int:
        """Take a byte from the line.

        Returns
        -------
        int
            How many bytes of ``writer.frame`` are to be sent now, mostly 0.
        """
        got = self.reader.take(byte)
        if got < _BODY:
            return 0
        request = self.reader.message
        sequence = int(request[1])
        if not self._begins(request, got):
            if sequence == self.sequence:
                return self.length
            if sequence != (self.sequence + 1) & _SEQUENCE_MASK:
                self.dropped = min(self.dropped + 1, _DROPPED_LIMIT)
                return 0
        self.sequence = sequence
        self._answer(request, got)
        return self.length

    def _begins(self, request, got: int) -> bool:
        if request[0] != IDENTIFY or got != _BODY + 2:
            return False
        session = get_half(request, _BODY)
        if session == self.session:
            return False
        self.session = session
        return True

    def _answer(self, request, got: int) -> None:
        answer = self.writer.message
        kind = int(request[0])
        answer[0] = kind | ANSWER
        answer[1] = self.sequence
        answer[2] = OK
        if kind == TICK:
            size = self._tick(request, got)
        elif kind == READ:
            size = self._read(request, got)
        elif kind == WRITE:
            size = self._write(request, got)
        elif kind == TRY:
            size = self._try(request, got)
        else:
            size = self._seldom(request, got)
        self.length = self.writer.write(_ANSWER_BODY + size)

    def _seldom(self, request, got: int) -> int:
        kind = int(request[0])
        if kind == IDENTIFY:
            size = self._identify()
        elif kind == COMMAND:
            size = self._command(request, got)
        elif kind == CHANGE:
            size = self.block.change(request, got)
        elif kind == FETCH:
            size = self.block.fetch(request, got)
        elif kind == SEND:
            size = self.block.send(request, got)
        elif kind == TAKE:
            size = self.block.take()
        else:
            size = self._refuse(UNKNOWN)
        return size

    def _refuse(self, result: int) -> int:
        self.writer.message[2] = result
        return 0

    def _refuse_slot(self, slot: int) -> int:
        self.writer.message[2] = OUT_OF_RANGE
        self.writer.message[_ANSWER_BODY] = slot
        return 1

    def _identify(self) -> int:
        answer = self.writer.message
        for k in range(3):
            answer[_ANSWER_BODY + k] = FIRMWARE[k]
        answer[6] = SUPERVISED | STORES | (IN_STEP if self.in_step else 0)
        put_half(answer, 7, LAYOUT[0])
        put_half(answer, 9, len(self.device.state))
        put_half(answer, 11, len(self.device.params))
        put_half(answer, 13, MOST_CONTENT)
        put_word(answer, 15, self.device.store.tick_us)
        return 16

    def _tick(self, request, got: int) -> int:
        if got != _BODY + 8:
            return self._refuse(MALFORMED)
        for slot in range(3):
            if get_half(request, _BODY + 2 * slot) > _COUNTS:
                return self._refuse(OUT_OF_RANGE)
        state = self.device.state
        for slot in range(3):
            state[slot] = get_half(request, _BODY + 2 * slot)
        if self.in_step:
            state[_LATE] = min(get_half(request, 8), _MOST_LATE)
            self.device.tick()
        return self._show_tick()

    def _show_tick(self) -> int:
        state = self.device.state
        size = 0
        for _ in range(_COPIES):
            ticks = int(state[_TICKS])
            size = self._copy_tick()
            # A tick of the board's own clock may have come between two words.
            if state[_TICKS] == ticks:
                break
        return size

    def _copy_tick(self) -> int:
        state = self.device.state
        answer = self.writer.message
        at = _ANSWER_BODY
        for slot in TICK_HALVES:
            put_half(answer, at, state[slot])
            at += 2
        for slot in TICK_WORDS:
            put_word(answer, at, state[slot])
            at += 4
        return int(at - _ANSWER_BODY)

    def _read(self, request, got: int) -> int:
        if got != _BODY + 3:
            return self._refuse(MALFORMED)
        whose, first, count = request[2], request[3], request[4]
        if whose > OF_TRIAL_PARAMETERS or 4 * count > MOST_CONTENT:
            return self._refuse(OUT_OF_RANGE)
        words = self.word_arrays[whose]
        if first + count > len(words):
            return self._refuse(OUT_OF_RANGE)
        for _ in range(_COPIES):
            ticks = int(self.device.state[_TICKS])
            for k in range(count):
                put_word(self.writer.message, _ANSWER_BODY + 4 * k, words[first + k])
            if self.device.state[_TICKS] == ticks:
                break
        return int(4 * count)

    def _write(self, request, got: int) -> int:
        count = (got - _BODY - 2) >> 2
        if count < 1 or got != _BODY + 2 + 4 * count:
            return self._refuse(MALFORMED)
        whose, first = request[2], request[3]
        if whose != OF_TRIAL_STATE and whose != OF_TRIAL_PARAMETERS:  # noqa: PLR1714
            return self._refuse(OUT_OF_RANGE)
        words = self.word_arrays[whose]
        if first + count > len(words):
            return self._refuse(OUT_OF_RANGE)
        rows = STATE if whose == OF_TRIAL_STATE else PARAMETERS
        for k in range(count):
            low, high = rows[first + k][1]
            if not low <= get_word(request, 4 + 4 * k) <= high:
                return self._refuse_slot(first + k)
        for k in range(count):
            words[first + k] = get_word(request, 4 + 4 * k)
        return 0

    def _try(self, request, got: int) -> int:
        state = self.trial_state
        if got == _BODY:
            reset(state)
        elif got == _BODY + 2 * _INPUTS:
            for slot in range(_INPUTS):
                half = (get_half(request, _BODY + 2 * slot) ^ 0x8000) - 0x8000
                low, high = STATE[slot][1]
                if not low <= half <= high:
                    return self._refuse_slot(slot)
                state[slot] = half
            tick(state, self.trial_params)
        else:
            return self._refuse(MALFORMED)
        for slot in range(len(state)):
            put_word(self.writer.message, _ANSWER_BODY + 4 * slot, state[slot])
        return int(4 * len(state))

    def _command(self, request, got: int) -> int:
        if got != _BODY + 5:
            return self._refuse(MALFORMED)
        what = int(request[2])
        word = get_word(request, 3)
        if what > TAKE_FACTORY or not -25_000 <= word <= 25_000:
            return self._refuse(OUT_OF_RANGE)
        if what < DEMAND:
            self.device.wish(what)
        elif what == DEMAND:
            self.device.demand(word)
        elif what == CONFIRM:
            self.device.confirm()
        else:
            return self._manage(what)
        return 0

    def _manage(self, what: int) -> int:
        if what == RESTART:
            self.device.restart()
        elif what == RESTORE:
            self.device.restore()
        elif what == TAKE_FACTORY:
            self.device.take_factory()
        else:
            try:
                self.device.save()
            except OSError:
                return self._refuse(MEDIUM_FAILED)
        return 0


def serve(link, source, sink) -> None:
    """Answer the requests of a stream until it ends.

    Parameters
    ----------
    link : Link
    source, sink : stream
        Of bytes; ``readinto`` waits for one and ``write`` sends all.
    """
    byte = bytearray(1)
    frame = memoryview(link.writer.frame)
    while source.readinto(byte):
        length = link.take(byte[0])
        if length:
            sink.write(frame[:length])
