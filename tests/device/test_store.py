"""The store: what is saved is loaded; what is not whole or not legal is not."""

import random
import struct
import zlib
from array import array

import pytest
from failing_files import NO_SPACE_LEFT, FailingFiles
from failing_flash import FailingFlash
from failing_histories import TICK_US, draw_words, started
from hypothesis import given
from hypothesis import strategies as st
from memory_banks import MemoryBanks

from firmware_model.device.banks_flash import DeviceFlash, FlashBanks
from firmware_model.device.block import block_bytes, get_word, put_word
from firmware_model.device.layout import DEVICE_PARAMETERS
from firmware_model.device.store import LAYOUT, Store, is_newer
from firmware_model.law.layout import ORDERED

COUNT = len(DEVICE_PARAMETERS)
SLOT = {row[0]: slot for slot, row in enumerate(DEVICE_PARAMETERS)}
FACTORY = array("i", [row[2] for row in DEVICE_PARAMETERS])
SEEDS = st.integers(0, 2**32 - 1)


def raw_block(words, *, mark=0x6970, version=2, sequence=0, tick_us=TICK_US):
    """Write a block by the description of its bytes alone."""
    head = struct.pack("<4Hi", mark, version, sequence, len(words), tick_us)
    raw = head + struct.pack(f"<{len(words)}i", *words)
    return raw + struct.pack("<I", zlib.crc32(raw))


def changed(**words):
    """Make the factory's words, some of them changed."""
    block = array("i", FACTORY)
    for name, word in words.items():
        block[SLOT[name]] = word
    return block


def test_store_loads_what_was_saved(banks):
    source = random.Random(1)
    for _ in range(5):
        store, _ = started(banks)
        words = draw_words(source)
        store.save(words)
        assert not store.is_factory
        assert started(banks)[1] == words


@given(seed=SEEDS, sequence=st.integers(0, 0xFFFF))
def test_store_writes_the_bytes_that_are_described(seed, sequence):
    words = draw_words(random.Random(seed))
    memory = MemoryBanks(raw_block(FACTORY, sequence=sequence))
    store, _ = started(memory)
    store.save(words)
    later = (sequence + 1) % 2**16
    assert memory.contents[1] == raw_block(words, sequence=later)


def test_store_with_nothing_stored_gives_the_factory_words_and_says_so(banks):
    store, words = started(banks)
    assert words is None
    assert store.is_factory
    params = draw_words(random.Random(2))
    assert not store.load(params)
    assert params == FACTORY


def test_store_keeps_the_flag_until_a_save():
    store, _ = started(MemoryBanks())
    store.save(FACTORY)
    assert not store.is_factory


@given(seed=SEEDS, place=st.integers(0, 8 * block_bytes(COUNT) - 1))
def test_store_with_one_wrong_bit_loads_the_older_block(seed, place):
    older, newer = (draw_words(random.Random(seed + k)) for k in range(2))
    spoiled = bytearray(raw_block(newer, sequence=9))
    spoiled[place // 8] ^= 1 << place % 8
    whole = raw_block(older, sequence=8)
    assert started(MemoryBanks(whole, spoiled))[1] == older
    assert started(MemoryBanks(spoiled, whole))[1] == older
    assert started(MemoryBanks(spoiled, spoiled))[1] is None


@given(raw=st.binary(max_size=500), marked=st.booleans())
def test_store_takes_any_bytes_without_an_exception(raw, marked):
    raw = b"\x70\x69\1\0" + raw if marked else raw
    assert started(MemoryBanks(raw))[1] is None


@pytest.mark.parametrize("cut", [0, 1, 11, 15, 391])
def test_store_with_a_short_bank_does_not_take_the_other_ones_bytes(cut):
    """Both banks are read into one buffer."""
    whole = raw_block(FACTORY, sequence=3)
    store, words = started(MemoryBanks(whole, whole[:cut]))
    assert (words, store.bank) == (FACTORY, 0)


@pytest.mark.parametrize("half", [0, 16])
def test_store_does_not_take_a_bank_with_half_a_crc(half):
    raw = raw_block(FACTORY)[:-4]
    residue = 0xDEBB20E3 ^ 0xFFFFFFFF
    for trailer in range(2**20):
        wrong = zlib.crc32(trailer.to_bytes(4, "little"), zlib.crc32(raw)) ^ residue
        if wrong and wrong >> half & 0xFFFF == 0:
            break
    assert started(MemoryBanks(raw + trailer.to_bytes(4, "little")))[1] is None
    assert wrong >> half & 0xFFFF == 0


def test_store_does_not_take_a_block_without_its_mark():
    assert started(MemoryBanks(raw_block(FACTORY, mark=0x6971)))[1] is None


def test_store_loaded_again_after_both_banks_are_spoiled_says_factory():
    memory = MemoryBanks(raw_block(changed(DWELL=2)))
    store, words = started(memory)
    memory.contents = [b"", b""]
    assert not store.load(words)
    assert store.is_factory
    assert words == FACTORY


def test_store_refuses_to_save_an_illegal_word(banks):
    store, _ = started(banks)
    store.save(FACTORY)
    with pytest.raises(ValueError) as refusal:  # noqa: PT011
        store.save(changed(P_SHIFT=30))
    assert refusal.value.args == (SLOT["P_SHIFT"],)
    assert started(banks)[1] == FACTORY


@pytest.mark.parametrize(("below", "above"), ORDERED)
def test_store_refuses_limits_upside_down(below, above):
    low, high = (
        DEVICE_PARAMETERS[SLOT[below]][1][1],
        DEVICE_PARAMETERS[SLOT[above]][1][0],
    )
    words = changed(**{below: low, above: high})
    assert low > high
    store, _ = started(MemoryBanks())
    assert store.find_illegal(words) == SLOT[below]
    assert started(MemoryBanks(raw_block(words)))[1] is None


@given(
    slot=st.integers(0, COUNT - 1),
    beyond=st.one_of(st.integers(1, 2**31 - 1), st.integers(1, 3)),
    up=st.booleans(),
)
def test_store_loads_no_illegal_word_though_its_crc_is_right(slot, beyond, up):
    low, high = DEVICE_PARAMETERS[slot][1]
    word = high + beyond if up else low - beyond
    words = changed()
    words[slot] = max(min(word, 2**31 - 1), -(2**31))
    whole = raw_block(FACTORY, sequence=1)
    assert started(MemoryBanks(raw_block(words, sequence=2), whole))[1] == FACTORY
    assert started(MemoryBanks(raw_block(words, sequence=2)))[1] is None


@given(word=st.integers(-(2**31), 2**31 - 1))
def test_store_word_is_read_back_or_limited_beyond_every_range(word):
    raw = bytearray(struct.pack("<i", word))
    read = get_word(raw, 0)
    if -(2**30) <= word < 2**30:
        assert read == word
        put_word(raw, 0, read)
        assert raw == struct.pack("<i", word)
    else:
        assert abs(read) >= 63 << 24
        assert -(2**30) <= read < 2**30
        assert (read < 0) == (word < 0)


def test_store_ranges_stay_below_a_limited_word():
    assert max(abs(end) for row in DEVICE_PARAMETERS for end in row[1]) < 63 << 24


def test_store_does_not_use_a_block_for_another_tick():
    memory = MemoryBanks(raw_block(FACTORY, tick_us=TICK_US + 1))
    assert started(memory)[1] is None


@pytest.mark.parametrize("version", [0, 3, 0xFFFF])
def test_store_does_not_use_an_unknown_layout(version):
    assert started(MemoryBanks(raw_block(FACTORY, version=version)))[1] is None


def test_store_does_not_use_a_wrong_number_of_words():
    assert started(MemoryBanks(raw_block(FACTORY[:-1])))[1] is None
    assert started(MemoryBanks(raw_block([*FACTORY, 0])))[1] is None


def test_store_first_save_leaves_nothing_of_another_firmware():
    """Or it would count again when that firmware is back."""
    newer = [raw_block([*FACTORY, 1], version=3, sequence=700 + k) for k in range(2)]
    memory = MemoryBanks(*newer)
    store, words = started(memory)
    assert words is None
    store.save(FACTORY)
    assert memory.contents == 2 * [raw_block(FACTORY)]
    store.save(changed(DWELL=2))
    assert memory.contents == [
        raw_block(FACTORY),
        raw_block(changed(DWELL=2), sequence=1),
    ]


def test_store_overwrites_the_block_that_it_cannot_use():
    memory = MemoryBanks(
        raw_block([*FACTORY, 1], version=3, sequence=9), raw_block(FACTORY)
    )
    store, words = started(memory)
    assert (words, store.bank) == (FACTORY, 1)
    store.save(changed(DWELL=2))
    assert memory.contents[0] == raw_block(changed(DWELL=2), sequence=1)


@given(first=st.integers(0, 0xFFFF), steps=st.integers(-0x8000, 0x8000))
def test_store_sequence_is_newer_within_half_a_turn(first, steps):
    later = (first + steps) % 2**16
    assert is_newer(later, first) == (0 < steps < 0x8000)


@pytest.mark.parametrize("other", [5, 5 + 0x8000])
def test_store_takes_bank_0_where_neither_is_newer(other):
    blocks = raw_block(FACTORY, sequence=5), raw_block(changed(DWELL=2), sequence=other)
    store, words = started(MemoryBanks(*blocks))
    assert (words, store.bank) == (FACTORY, 0)


def test_store_runs_across_the_wrap():
    memory = MemoryBanks(raw_block(FACTORY, sequence=0xFFFD))
    store, _ = started(memory)
    for k in range(6):
        words = changed(DEADBAND=k)
        store.save(words)
        assert started(memory)[1] == words
    assert store.sequence == 3


@pytest.mark.parametrize("silent", [True, False])
def test_store_on_a_full_file_system_raises_and_keeps_the_old_block(file_banks, silent):
    files = FailingFiles(random.Random(3))
    store, _ = started(file_banks(files))
    store.save(FACTORY)
    files.room, files.full_is_silent = 100, silent
    for _ in range(2):
        with pytest.raises(OSError, match="space" if not silent else "5"):
            store.save(changed(DWELL=7))
        assert started(file_banks(files))[1] == FACTORY
    files.room = None
    store.save(changed(DWELL=7))
    assert started(file_banks(files))[1] == changed(DWELL=7)


class DeafBanks(MemoryBanks):
    """Banks that take nothing more."""

    def write(self, bank, buffer):
        pass


def test_store_on_a_medium_that_takes_nothing_raises():
    """Though both banks still hold whole blocks."""
    memory = DeafBanks(*(raw_block(FACTORY, sequence=k) for k in (1, 2)))
    store, _ = started(memory)
    with pytest.raises(OSError, match="5"):
        store.save(changed(DWELL=7))
    assert (store.bank, store.sequence) == (1, 2)


def test_store_with_a_worn_bit_raises_and_keeps_the_old_block():
    flash = FailingFlash(random.Random(4), 2, 1024, 4)
    store, _ = started(FlashBanks(flash, 0, 1024))
    store.save(FACTORY)
    program = flash.program

    def program_with_a_bit_that_no_longer_clears(address, buffer):
        program(address, buffer)
        if address == 1024:
            flash.cells[address] |= 0x80

    flash.program = program_with_a_bit_that_no_longer_clears
    with pytest.raises(OSError, match="5"):
        store.save(changed(DWELL=7))
    assert started(FlashBanks(flash, 0, 1024))[1] == FACTORY


def test_store_with_an_unreadable_bank_uses_the_other_one():
    memory = MemoryBanks(b"", raw_block(FACTORY))
    read = memory.read

    def read_one(bank, buffer):
        if bank == 0:
            raise OSError(5)
        return read(bank, buffer)

    memory.read = read_one
    assert started(memory)[1] == FACTORY


@pytest.mark.parametrize(
    ("address", "bank_bytes", "unit_bytes"),
    [(512, 1024, 4), (0, 1000, 4), (0, 1024, 6)],
)
def test_flash_banks_refuse_what_is_no_whole_page(address, bank_bytes, unit_bytes):
    flash = FailingFlash(random.Random(5), 4, 1024, unit_bytes)
    with pytest.raises(ValueError, match="whole"):
        FlashBanks(flash, address, bank_bytes)


def test_flash_banks_too_short_for_a_block_touch_nothing():
    flash = FailingFlash(random.Random(6), 4, 128, 4)
    before = bytes(flash.cells)
    store = Store(FlashBanks(flash, 0, 256), TICK_US)
    with pytest.raises(OSError, match=str(NO_SPACE_LEFT)):
        store.save(FACTORY)
    assert flash.cells == before
    assert not store.load(array("i", FACTORY))


def test_flash_banks_leave_the_rest_of_the_last_unit_erased():
    flash = FailingFlash(random.Random(9), 2, 1024, 256)
    store, _ = started(FlashBanks(flash, 0, 1024))
    store.save(FACTORY)
    assert flash.cells[block_bytes(COUNT) : 1024] == b"\xff" * (
        1024 - block_bytes(COUNT)
    )


class BlockDevice:
    """MicroPython's extended block device over a simulated flash."""

    def __init__(self, flash):
        self.flash = flash
        self.answer = 0

    def readblocks(self, block, buffer, offset):
        assert offset + len(buffer) <= self.flash.page_bytes
        content = bytearray(len(buffer))
        self.flash.read(block * self.flash.page_bytes + offset, content)
        buffer[:] = content
        return self.answer

    def writeblocks(self, block, buffer, offset):
        self.flash.program(block * self.flash.page_bytes + offset, buffer)
        return self.answer

    def ioctl(self, request, argument):
        if request == 5:
            return self.flash.page_bytes
        assert request == 6
        self.flash.erase(argument * self.flash.page_bytes)
        return self.answer


def test_device_flash_stores_on_a_block_device():
    flash = FailingFlash(random.Random(8), 8, 128, 32)
    device = BlockDevice(flash)
    banks = FlashBanks(DeviceFlash(device, 32), 0, 512)
    store, _ = started(banks)
    store.save(changed(DWELL=3))
    store.save(changed(DWELL=4))
    assert started(FlashBanks(flash, 0, 512))[1] == changed(DWELL=4)
    device.answer = -5
    with pytest.raises(OSError, match="5"):
        store.save(FACTORY)
    assert started(banks)[1] is None


def test_store_layout_of_the_words_has_its_version():
    """Other names or ranges need a new version, and a step to it from this one."""
    version, rows, ordered, _ = LAYOUT
    assert rows == DEVICE_PARAMETERS
    assert ordered == ORDERED
    text = "".join(f"{name} {low} {high}\n" for name, (low, high), _, _ in rows)
    assert (version, f"{zlib.crc32(text.encode()):08x}") == (2, "157766ab")
