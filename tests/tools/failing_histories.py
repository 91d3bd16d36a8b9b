"""Histories of saves with power cuts: what is read afterwards, and what is lost.

Runs on MicroPython, too; ``random`` is the module there, or a generator of it.
A medium is what `failing_flash`, `failing_files` or `failing_blocks` make, and
``banks`` makes the store's banks on one, as each start of the board does.
"""

from array import array

from failing_power import WAYS, WHOLE, PowerLostError

from firmware_model.device.store import LAYOUT, Store

TICK_US = 10_000
_NAMES = [row[0] for row in LAYOUT[1]]
ORDERED = [(_NAMES.index(below), _NAMES.index(above)) for below, above in LAYOUT[2]]


class Tally:
    """Cuts tried, and after how many the old, the new or no block was read."""

    def __init__(self):
        self.cuts = self.lost = self.old = self.new = 0

    def judge(self, read, old, new):
        """Count one cut."""
        self.cuts += 1
        if read == new:
            self.new += 1
        elif read == old:
            self.old += 1
        else:
            self.lost += 1

    def __str__(self):
        """Give the counts, as one machine says them and another reads them."""
        return f"{self.cuts} {self.lost} {self.old} {self.new}"


def draw_words(random):
    """Draw a legal block of words."""
    words = [_draw_word(random, row) for row in LAYOUT[1]]
    for low, high in ORDERED:
        if words[low] > words[high]:
            words[low], words[high] = words[high], words[low]
    return array("i", words)


def _draw_word(random, row):
    low, high = row[1]
    word = low + random.getrandbits(30) % (high - low + 1)
    return random.choice((low, high, row[2], word))


def started(banks):
    """Start a board: its store, and the words in use; None for the factory's."""
    store = Store(banks, TICK_US)
    words = array("i", [0] * len(LAYOUT[1]))
    return store, words if store.load(words) else None


def run_history(random, medium, banks, saves, tally, every=1):
    """Save so many blocks, each with power cuts at every step and in every way.

    After each cut the board starts again and saves another block, with another
    cut. Then the history goes on: half the time after the whole save, and else
    after one of the cuts and a start. ``every`` leaves out steps: with 5, power
    fails in each fifth one only.
    """
    store, old = started(banks(medium))
    for _ in range(saves):
        new = draw_words(random)
        steps = count_steps(store, medium.copy(), banks, new)
        # The last one comes when the save has returned.
        fuses = [(step, way) for step in range(0, steps, every) for way in WAYS]
        fuses.append((steps, WHOLE))
        for fuse in fuses:
            after = medium.copy()
            cut_save(store, after, banks, (old, new), fuse, tally)
            cut_again(random, after, banks, steps, tally)
        store.banks = banks(medium)
        if random.getrandbits(1):
            store.save(new)
            old = new
        else:
            fuse = (random.randrange(steps), random.choice(WAYS))
            old = cut_save(store, medium, banks, (old, new), fuse, tally)
            store, _ = started(banks(medium))


def count_steps(store, medium, banks, new):
    """Count the steps of a save; leave the store as it was."""
    before = store.bank, store.sequence, store.is_factory
    store.banks = banks(medium)
    medium.arm(-1, WHOLE)
    store.save(new)
    store.bank, store.sequence, store.is_factory = before
    return medium.steps


def cut_save(store, medium, banks, blocks, fuse, tally):
    """Save until power fails, at the latest when the save has returned; judge it.

    Returns
    -------
    array
        What the next start reads; None for the factory's words.
    """
    before = store.bank, store.sequence, store.is_factory
    old, new = blocks
    store.banks = banks(medium)
    medium.arm(*fuse)
    try:
        store.save(new)
        old = new
    except (PowerLostError, OSError):
        pass
    store.bank, store.sequence, store.is_factory = before
    medium.dead = True
    medium.revive()
    read = started(banks(medium))[1]
    tally.judge(read, old, new)
    return read


def cut_again(random, medium, banks, steps, tally):
    """Save another block after a cut, and cut that save, too."""
    store, old = started(banks(medium))
    new = draw_words(random)
    fuse = (random.randrange(steps + 1), random.choice(WAYS))
    cut_save(store, medium, banks, (old, new), fuse, tally)
