"""Power fails at every byte and every page erase of a save: no block is lost.

Each save of a random history is cut at each step, within it and at its end; after
each cut another save is cut somewhere. A CRC-32 of the library stands in for the
board's own here, which would take most of the time; `test_crc.py` shows that they
are the same, and `test_store_micropython.py` runs histories with the own one.
"""

import os
import random
import zlib

import pytest
from failing_files import FailingFiles
from failing_flash import FailingFlash
from failing_histories import Tally, draw_words, run_history, started
from hypothesis import given, settings
from hypothesis import strategies as st

from firmware_model.device import banks_flash, block, store
from firmware_model.device.banks_flash import FlashBanks
from host_sim.device.block_file import pack_block
from host_sim.device.device_block import DeviceBlock

SLOW = os.environ.get("HYPOTHESIS_PROFILE") in ("ci", "deep")
HISTORIES, SAVES = (8, 3) if SLOW else (1, 1)
# Of one medium; there are four.
LEAST_CUTS = 35_000 if SLOW else 1_500
# Pages, bytes of a page, bytes programmed together: what boards have.
FLASHES = [(2, 1024, 4), (2, 4096, 256), (8, 128, 8)]
SEEDS = st.integers(0, 2**32 - 1)
# The sequence of a block that is there before; None for none.
BEFORE = st.none() | st.integers(0, 0xFFFF) | st.integers(0xFFFC, 0xFFFF)


def library_crc32(halves, buffer, first, stop):
    """Do what the board's function does."""
    so_far = (halves[0] | halves[1] << 16) ^ 0xFFFFFFFF
    crc = zlib.crc32(memoryview(buffer)[first:stop], so_far) ^ 0xFFFFFFFF
    halves[0], halves[1] = crc & 0xFFFF, crc >> 16


@pytest.fixture(autouse=True)
def _fast_crc(monkeypatch):
    monkeypatch.setattr(block, "crc32", library_crc32)


class BlockLostError(Exception):
    """A start read neither the old block nor the new one."""


class FirstLoss(Tally):
    """Counts until a block is lost."""

    def judge(self, read, old, new):
        super().judge(read, old, new)
        if self.lost:
            raise BlockLostError


def flash_banks(flash):
    return FlashBanks(flash, 0, len(flash.cells) // 2)


def run_histories(make_medium, banks):
    """Run drawn histories; return what was counted over all of them."""
    tally = Tally()

    @settings(max_examples=HISTORIES)
    @given(seed=SEEDS, before=BEFORE)
    def run(seed, before):
        source = random.Random(seed)
        medium = make_medium(source)
        if before is not None:
            raw = pack_block(DeviceBlock(tick_s=0.01), before)
            banks(medium).write(0, bytearray(raw))
        run_history(source, medium, banks, SAVES, tally)
        assert tally.lost == 0

    run()
    return tally


@pytest.mark.parametrize(("pages", "page_bytes", "unit_bytes"), FLASHES)
def test_power_lost_anywhere_on_flash_loses_no_block(
    pages, page_bytes, unit_bytes, record_property
):
    def make_flash(source):
        return FailingFlash(source, pages, page_bytes, unit_bytes)

    tally = run_histories(make_flash, flash_banks)
    record_property("cuts, lost, old, new", str(tally))
    assert tally.cuts >= LEAST_CUTS
    assert min(tally.old, tally.new) >= tally.cuts // 500


def test_power_lost_anywhere_on_files_loses_no_block(file_banks, record_property):
    tally = run_histories(FailingFiles, file_banks)
    record_property("cuts, lost, old, new", str(tally))
    assert tally.cuts >= LEAST_CUTS
    assert min(tally.old, tally.new) >= tally.cuts // 500


def test_power_lost_where_flushes_do_nothing_but_keep_their_order(file_banks):
    """Then the last saves may be undone, but some whole block is always read."""
    source = random.Random(11)
    files = FailingFiles(source)
    board, _ = started(file_banks(files))
    blocks = [draw_words(source) for _ in range(6)]
    for words in blocks:
        board.save(words)
    later = FailingFiles(source)
    newest = -1
    for name, content in files.log:
        later.seen[name] = content
        read = started(file_banks(later))[1]
        found = -1 if read is None else blocks.index(read)
        assert newest <= found
        newest = found
    assert newest == len(blocks) - 1


def test_power_lost_where_flushes_do_nothing_at_all_loses_blocks(file_banks):
    """What no order of writing can hold; and the count sees losses."""
    files = FailingFiles(random.Random(12), flush_lies=True)
    with pytest.raises(BlockLostError):
        run_history(files.random, files, file_banks, 4, FirstLoss())


def saves_over_the_block_in_use(monkeypatch):
    load = store.Store.load

    def load_and_turn(self, params):
        found = load(self, params)
        self.bank = 1 - self.bank
        return found

    monkeypatch.setattr(store.Store, "load", load_and_turn)


def takes_a_bank_as_it_is(monkeypatch):
    def has_a_mark(buffer, _, got):
        return got == len(buffer) and block.get_half(buffer, 0) == block.MARK

    monkeypatch.setattr(store, "is_whole", has_a_mark)
    monkeypatch.setattr(store, "first_illegal", lambda *_: -1)


def compares_sequences_as_plain_numbers(monkeypatch):
    monkeypatch.setattr(store, "is_newer", lambda sequence, than: sequence > than)


def erases_both_banks_first(monkeypatch):
    write = banks_flash.FlashBanks.write

    def write_all(self, bank, buffer):
        self.flash.erase((1 - bank) * self.bank_bytes)
        write(self, bank, buffer)

    monkeypatch.setattr(banks_flash.FlashBanks, "write", write_all)


def does_not_count_on(monkeypatch):
    use = store.Store._use
    monkeypatch.setattr(store.Store, "_use", lambda self, bank, _: use(self, bank, 0))


@pytest.mark.parametrize(
    "mistake",
    [
        saves_over_the_block_in_use,
        takes_a_bank_as_it_is,
        compares_sequences_as_plain_numbers,
        erases_both_banks_first,
        does_not_count_on,
    ],
)
def test_power_lost_with_a_known_mistake_loses_blocks(mistake, monkeypatch):
    source = random.Random(13)
    flash = FailingFlash(source, 2, 1024, 4)
    flash_banks(flash).write(0, bytearray(pack_block(DeviceBlock(tick_s=0.01), 0xFFFF)))
    mistake(monkeypatch)
    with pytest.raises(BlockLostError):
        run_history(source, flash, flash_banks, 8, FirstLoss())


@pytest.mark.parametrize("pages", [2, 8])
def test_power_lost_is_tried_at_every_byte_and_every_erase(pages):
    """The count of the steps is that of the bytes programmed and pages erased."""
    flash = FailingFlash(random.Random(14), pages, 1024, 4)
    board, _ = started(flash_banks(flash))
    board.save(draw_words(flash.random))
    flash.arm(-1, 0)
    board.save(draw_words(flash.random))
    assert flash.steps == len(board.buffer) + pages // 2
