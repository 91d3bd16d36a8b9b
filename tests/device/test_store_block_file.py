"""The host's packed block: the bytes that a board stores, and what it refuses."""

import random
import struct
import zlib

import pytest
from failing_histories import TICK_US, draw_words
from hypothesis import given
from hypothesis import strategies as st
from memory_banks import MemoryBanks

from firmware_model.device.layout import DEVICE_PARAMETERS
from firmware_model.device.store import Store
from firmware_model.law.layout import ORDERED
from host_sim.device import block_file
from host_sim.device.block_file import pack_block, unpack_block
from host_sim.device.device_block import DeviceBlock
from host_sim.errors import InputError
from host_sim.law.quantise import quantise
from host_sim.law.read_back import read_back
from host_sim.law.settings import LawSettings

WHERE = "a.block"
SEEDS = st.integers(0, 2**32 - 1)


def sealed(raw):
    """Put the right CRC behind changed bytes."""
    return raw + struct.pack("<I", zlib.crc32(raw))


def packed(**words):
    """Pack a fresh block; words by name, legal or not."""
    raw = bytearray(pack_block(DeviceBlock(tick_s=0.01))[:-4])
    names = [row[0] for row in DEVICE_PARAMETERS]
    for name, word in words.items():
        struct.pack_into("<i", raw, 12 + 4 * names.index(name), word)
    return sealed(raw)


@given(seed=SEEDS, sequence=st.integers(0, 0xFFFF))
def test_block_file_is_what_the_board_writes_and_loads(seed, sequence):
    block = DeviceBlock(TICK_US / 1e6, draw_words(random.Random(seed)))
    memory = MemoryBanks(pack_block(block, sequence))
    board = Store(memory, TICK_US)
    params = block.words[:]
    assert board.load(params)
    assert params == block.words
    board.save(params)
    assert memory.contents[1] == pack_block(block, (sequence + 1) % 2**16)
    stored = unpack_block(memory.contents[1], WHERE)
    assert stored.block == block
    assert (stored.version, stored.sequence) == (2, (sequence + 1) % 2**16)


@given(tick_us=st.integers(100, 1_000_000))
def test_block_file_carries_every_tick_of_whole_microseconds(tick_us):
    settings = LawSettings(tick_s=tick_us / 1e6)
    stored = unpack_block(pack_block(DeviceBlock.around(quantise(settings))), WHERE)
    assert stored.block.tick_s == settings.tick_s
    nearly = DeviceBlock(settings.tick_s * (1 + 2**-52), stored.block.words)
    assert pack_block(nearly) == pack_block(stored.block)
    law = stored.block.law()
    assert quantise(read_back(law)).words == law.words


def test_block_file_ignores_what_stands_behind_the_block():
    raw = pack_block(DeviceBlock(tick_s=0.01))
    assert unpack_block(raw + b"\xff" * 120, WHERE) == unpack_block(raw, WHERE)


def test_block_file_refuses_a_tick_between_microseconds():
    with pytest.raises(InputError, match=r"tick: 333\.5 us; .* whole microseconds"):
        pack_block(DeviceBlock(tick_s=333.5e-6))


@pytest.mark.parametrize("sequence", [-1, 2**16])
def test_block_file_refuses_a_sequence_of_more_than_16_bits(sequence):
    with pytest.raises(InputError, match=r"sequence: .* 0 \.\.\. 65535"):
        pack_block(DeviceBlock(tick_s=0.01), sequence)


@pytest.mark.parametrize(("below", "above"), ORDERED)
def test_block_file_refuses_limits_upside_down(below, above):
    names = {row[0]: row[1] for row in DEVICE_PARAMETERS}
    words = {below: names[below][1], above: names[above][0]}
    block = DeviceBlock(tick_s=0.01)
    for name, word in words.items():
        block[name] = word
    with pytest.raises(InputError, match=f"{below}: .* is above {above}"):
        pack_block(block)
    with pytest.raises(InputError, match=f"{WHERE}: {below}: .* is above {above}"):
        unpack_block(packed(**words), WHERE)


@given(cut=st.integers(0, 391))
def test_block_file_cut_short_is_refused(cut):
    with pytest.raises(InputError, match=f"{WHERE}: cut short") as refusal:
        unpack_block(packed()[:cut], WHERE)
    assert "\n" not in str(refusal.value)


@given(place=st.integers(0, 8 * 468 - 1))
def test_block_file_with_a_wrong_bit_is_refused(place):
    raw = bytearray(packed())
    raw[place // 8] ^= 1 << place % 8
    with pytest.raises(InputError, match=f"{WHERE}: "):
        unpack_block(bytes(raw), WHERE)


@given(raw=st.binary(max_size=500), marked=st.booleans())
def test_block_file_of_any_bytes_is_refused_in_one_line(raw, marked):
    raw = b"\x70\x69" + raw if marked else raw
    with pytest.raises(InputError, match=f"{WHERE}: ") as refusal:
        unpack_block(raw, WHERE)
    assert "\n" not in str(refusal.value)


@pytest.mark.parametrize(
    ("head", "words", "said"),
    [
        ((0x1234, 2, 0, 113, 10_000), 113, r"no parameter block, it begins with 1234"),
        ((0x6970, 2, 0, 113, 10_000), 109, r"cut short, 452 bytes of 468"),
        ((0x6970, 7, 0, 113, 10_000), 113, r"layout version 7, known are 1 \.\.\. 2"),
        ((0x6970, 2, 0, 109, 10_000), 109, r"109 words, layout version 2 has 113"),
        ((0x6970, 2, 0, 113, 0), 113, r"a tick of 0 us"),
    ],
)
def test_block_file_says_what_is_wrong_with_a_head(head, words, said):
    raw = struct.pack("<4Hi", *head) + packed()[12 : 12 + 4 * words]
    with pytest.raises(InputError, match=f"{WHERE}: {said}"):
        unpack_block(sealed(raw), WHERE)


def test_block_file_changed_says_so():
    with pytest.raises(InputError, match="changed, its CRC-32 is not right"):
        unpack_block(packed()[:-1] + b"\0", WHERE)


def test_block_file_names_the_illegal_word_and_its_range():
    with pytest.raises(
        InputError, match=rf"{WHERE}: P_SHIFT: 30 is outside 1 \.\.\. 29"
    ):
        unpack_block(packed(P_SHIFT=30), WHERE)


def test_block_file_of_an_older_layout_is_brought_to_the_newest(monkeypatch):
    """The older one is invented: without the fourth word, with one more at the end."""
    version, rows, ordered, _ = block_file.LAYOUT
    steps = (((3, 3_500), (len(rows), None)),)
    monkeypatch.setattr(block_file, "LAYOUT", (version + 1, rows, ordered, steps))
    fresh = DeviceBlock(tick_s=0.01)
    older = [*fresh.words[:3], *fresh.words[4:], 12_345]
    raw = struct.pack(f"<4Hi{len(older)}i", 0x6970, 1, 5, len(older), 10_000, *older)
    stored = unpack_block(sealed(raw), WHERE)
    assert (stored.version, stored.sequence) == (1, 5)
    assert stored.block["CURRENT_LOW"] == 3_500
    fresh["CURRENT_LOW"] = 3_500
    assert stored.block == fresh
