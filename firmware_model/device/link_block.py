"""Parameters over the link: single words, or a whole block as it is stored."""

from array import array

from firmware_model.device.block import (
    COUNT_AT,
    SEQUENCE_AT,
    TICK_AT,
    VERSION_AT,
    block_bytes,
    get_half,
    get_word,
    get_words,
    is_whole,
    put_half,
    put_word,
    put_words,
    seal,
)
from firmware_model.device.protocol import (
    MALFORMED,
    NOT_A_BLOCK,
    OTHER_LAYOUT,
    OTHER_TICK,
    OUT_OF_RANGE,
)
from firmware_model.device.store import LAYOUT
from firmware_model.law.arith import const

_BODY = const(2)
_ANSWER_BODY = const(3)
_EDIT_BYTES = const(5)


class BlockLink:
    """Answers requests that change or fetch parameters.

    Parameters
    ----------
    device : Device
    answer : bytearray
        Result and content are written there.
    """

    def __init__(self, device, answer) -> None:
        self.device = device
        self.answer = answer
        self.block = bytearray(block_bytes(len(device.params)))
        self.halves = array("H", (0, 0))

    def _refuse(self, result: int) -> int:
        self.answer[2] = result
        return 0

    def _refuse_slot(self, slot: int) -> int:
        self.answer[2] = OUT_OF_RANGE
        self.answer[_ANSWER_BODY] = slot
        return 1

    def change(self, request, got: int) -> int:
        """Change words, all or none; return the size of the content."""
        count = (got - _BODY) // _EDIT_BYTES
        if count < 1 or got != _BODY + _EDIT_BYTES * count:
            return self._refuse(MALFORMED)
        edits = []
        for at in range(_BODY, got, _EDIT_BYTES):
            if request[at] >= len(self.device.params):
                return self._refuse_slot(request[at])
            edits.append((request[at], get_word(request, at + 1)))
        slot = int(self.device.change(edits))
        return 0 if slot < 0 else self._refuse_slot(slot)

    def fetch(self, request, got: int) -> int:
        """Give a part of the block; the first part makes it anew."""
        if got != _BODY + 3:
            return self._refuse(MALFORMED)
        first = get_half(request, 2)
        count = int(request[4])
        if first + count > len(self.block):
            return self._refuse(OUT_OF_RANGE)
        if first == 0:
            put_half(self.block, VERSION_AT, LAYOUT[0])
            put_half(self.block, SEQUENCE_AT, self.device.store.sequence)
            put_word(self.block, TICK_AT, self.device.store.tick_us)
            put_words(self.block, self.device.params, len(self.device.params))
            seal(self.block, self.halves)
        for k in range(count):
            self.answer[_ANSWER_BODY + k] = self.block[first + k]
        return count

    def send(self, request, got: int) -> int:
        """Take a part of a block; nothing changes yet."""
        count = got - _BODY - 2
        first = get_half(request, 2)
        if count < 1:
            return self._refuse(MALFORMED)
        if first + count > len(self.block):
            return self._refuse(OUT_OF_RANGE)
        for k in range(count):
            self.block[first + k] = request[4 + k]
        return 0

    def take(self) -> int:
        """Take the block that was sent, as one change; it is not saved."""
        block = self.block
        count = get_half(block, COUNT_AT)
        if not is_whole(block, self.halves, len(block)):
            return self._refuse(NOT_A_BLOCK)
        if get_half(block, VERSION_AT) != LAYOUT[0] or count != len(self.device.params):
            return self._refuse(OTHER_LAYOUT)
        if get_word(block, TICK_AT) != self.device.store.tick_us:
            return self._refuse(OTHER_TICK)
        words = array("i", self.device.params)
        get_words(block, words)
        slot = int(self.device.change([(k, words[k]) for k in range(count)]))
        return 0 if slot < 0 else self._refuse_slot(slot)
