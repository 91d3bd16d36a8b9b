"""The parameter store: two banks, of which one always holds a whole block.

A save never touches the bank that holds the block in use. Whenever power fails,
the bank being written fails its CRC until its last byte is there, and the other
one is as it was: afterwards the old block is read, or the new one. Beyond this
are cells that a cut left between 0 and 1, so that they read differently from one
time to the next, and one torn bank in 2**32, whose CRC is right by chance.

A layout is a tuple: its version; its rows, as `law.layout` has them; the pairs of
words that stay in order; the steps to it. The first step makes version 2 of
version 1, the next one version 3. A step is a tuple of edits, done in turn:
``(slot, word)`` puts a word before the one at the slot, ``(slot, None)`` takes
that one out. Whoever changes names or ranges of the words raises the version and
adds a step.
"""

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
from firmware_model.device.layout import DEVICE_PARAMETERS
from firmware_model.law.arith import const
from firmware_model.law.layout import ORDERED

# Version 2: what the supervisor and self-tuning need, behind the law's words.
_TO_2 = (
    (94, 50),
    (95, 0),
    (96, 100),
    (97, 100),
    (98, 0),
    (99, 1_000),
    (100, 1_250),
    (101, 3_000),
    (102, 3),
    (103, 100),
    (104, 25),
    (105, 0),
    (106, 5_000),
    (107, 125),
    (108, 5_000),
    (109, 12_000),
    (110, 4),
    (111, 0),
    (112, 4_096),
)
LAYOUT = (2, DEVICE_PARAMETERS, ORDERED, (_TO_2,))

_BANKS = const(2)
_SEQUENCE_MASK = const(0xFFFF)
_HALF_TURN = const(0x8000)
_INPUT_OUTPUT_ERROR = const(5)


def is_newer(sequence: int, than: int) -> bool:
    """Tell which of two sequences is the later one, across the wrap.

    Later is what less than half a turn leads to; two banks that a store wrote are
    one step apart.

    >>> is_newer(1, 0), is_newer(0, 65_535), is_newer(7, 7), is_newer(0, 32_768)
    (True, True, False, False)
    """
    return bool(0 < ((sequence - than) & _SEQUENCE_MASK) < _HALF_TURN)


def first_illegal(words, rows, ordered) -> int:
    """Find the first word outside its range or above what it stays below.

    Parameters
    ----------
    words : array
    rows : tuple
        Of `LAYOUT`.
    ordered : sequence
        Pairs of slots.

    Returns
    -------
    int
        Its slot, or -1.
    """
    for slot, row in enumerate(rows):
        low, high = row[1]
        if not low <= words[slot] <= high:
            return slot
    for below, above in ordered:
        if words[below] > words[above]:
            return int(below)
    return -1


def migrate(words, version: int, steps) -> None:
    """Turn the words of an older version into those of the newest, in place.

    >>> words = [10, 20, 30, 0]
    >>> migrate(words, 1, (((1, 15),), ((0, None),)))
    >>> words[:3]
    [15, 20, 30]
    """
    for edits in steps[version - 1 :]:
        for slot, word in edits:
            if word is None:
                for k in range(slot, len(words) - 1):
                    words[k] = words[k + 1]
            else:
                for k in range(len(words) - 1, slot, -1):
                    words[k] = words[k - 1]
                words[slot] = word


def count_words(layout):
    """Count the words of every version, and the most that a step comes through.

    >>> count_words((3, (None,) * 9, (), (((1, 15),), ((2, 0), (0, None)))))
    ([8, 9, 9], 10)
    """
    _, rows, _, steps = layout
    count = most = len(rows)
    counts = [count]
    for edits in reversed(steps):
        for _, word in reversed(edits):
            count += 1 if word is None else -1
            most = max(most, count)
        counts.insert(0, count)
    return counts, most


class Store:
    """Loads the newest usable block at the start, and saves new ones.

    Parameters
    ----------
    banks : FileBanks or FlashBanks
        Or anything else with their `read` and `write`.
    tick_us : int
        The board's tick. A block made for another one is not usable: its rates
        and gains would be wrong.
    layout : tuple
        As above.

    Attributes
    ----------
    is_factory : bool
        No bank held a usable block, so the parameters are the factory's; until a
        save.
    """

    def __init__(self, banks, tick_us: int, layout=LAYOUT) -> None:
        self.banks = banks
        self.tick_us = tick_us
        self.version, self.rows, ordered, self.steps = layout
        names = [row[0] for row in self.rows]
        self.ordered = [(names.index(a), names.index(b)) for a, b in ordered]
        self.counts, most = count_words(layout)
        # All that a load or a save works on is made here, once.
        self.words = array("i", [0] * most)
        self.buffer = bytearray(block_bytes(most))
        self.halves = array("H", (0, 0))
        self.bank = 1
        self.sequence = _SEQUENCE_MASK
        self.is_factory = True

    def load(self, params) -> bool:
        """Put the newest usable block into the parameters, else the factory's words.

        Call it before the ticks begin: they would see words of both.

        Parameters
        ----------
        params : array
            The law's parameters.

        Returns
        -------
        bool
            Whether a bank held a usable block.
        """
        self.put_factory(params)
        self.is_factory = True
        for bank in range(_BANKS):
            if self._read(bank) and self._unpack():
                sequence = get_half(self.buffer, SEQUENCE_AT)
                if self.is_factory or is_newer(sequence, self.sequence):
                    self._take(bank, sequence, params)
        return not self.is_factory

    def save(self, params) -> None:
        """Store the parameters; when it returns, no power cut can undo it.

        A page erase may stop a board that runs from the same flash for longer
        than a tick: save where a late tick does no harm.

        Parameters
        ----------
        params : array
            The law's parameters.

        Raises
        ------
        ValueError
            A word is illegal; its argument is the slot, and nothing is written.
        OSError
            The medium failed; the next start reads the old block, or the new one.
        """
        slot = self.find_illegal(params)
        if slot >= 0:
            raise ValueError(slot)
        bank = 1 - self.bank
        sequence = (self.sequence + 1) & _SEQUENCE_MASK
        self._pack(params, sequence)
        self.banks.write(bank, self.buffer)
        # A worn cell or a full file system shows now, not at the next start.
        if not (self._read(bank) and get_half(self.buffer, SEQUENCE_AT) == sequence):
            raise OSError(_INPUT_OUTPUT_ERROR)
        was_factory = self.is_factory
        self._use(bank, sequence)
        if was_factory:
            # The other bank holds nothing for this board; what it may hold for
            # another firmware must not count again.
            self.banks.write(1 - bank, self.buffer)

    def find_illegal(self, params) -> int:
        """Find the first parameter that a save would refuse.

        Returns
        -------
        int
            Its slot, or -1.
        """
        return first_illegal(params, self.rows, self.ordered)

    def put_factory(self, params) -> None:
        """Put the words of a fresh block into the parameters; store nothing."""
        for slot, row in enumerate(self.rows):
            params[slot] = row[2]

    def _read(self, bank: int) -> bool:
        try:
            got = self.banks.read(bank, self.buffer)
        except OSError:
            return False
        return is_whole(self.buffer, self.halves, got)

    def _unpack(self) -> bool:
        """Bring the block's words to this layout; tell whether it is usable."""
        version = get_half(self.buffer, VERSION_AT)
        if not 0 < version <= self.version:
            return False
        if get_half(self.buffer, COUNT_AT) != self.counts[version - 1]:
            return False
        if get_word(self.buffer, TICK_AT) != self.tick_us:
            return False
        get_words(self.buffer, self.words)
        migrate(self.words, version, self.steps)
        return self.find_illegal(self.words) < 0

    def _take(self, bank: int, sequence: int, params) -> None:
        for slot in range(len(self.rows)):
            params[slot] = self.words[slot]
        self._use(bank, sequence)

    def _use(self, bank: int, sequence: int) -> None:
        self.bank = bank
        self.sequence = sequence
        self.is_factory = False

    def _pack(self, params, sequence: int) -> None:
        put_half(self.buffer, VERSION_AT, self.version)
        put_half(self.buffer, SEQUENCE_AT, sequence)
        put_word(self.buffer, TICK_AT, self.tick_us)
        put_words(self.buffer, params, len(self.rows))
        seal(self.buffer, self.halves)
