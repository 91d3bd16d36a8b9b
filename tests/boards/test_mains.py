"""The mains on simulated pins, on MicroPython, the heap locked in the callback."""

import shutil
import subprocess
from pathlib import Path

import pytest
from required import require

import firmware_model
from host_sim.device.block_file import pack_block
from host_sim.device.device_block import DeviceBlock
from host_sim.device.supervised import SupervisedController
from host_sim.prove.engine import program
from host_sim.prove.engines import ENGINES

HERE = Path(__file__).parent
TICK_MS = 10
MAINS = {
    "main_rp2": ("RP2040", "-1 1 10 True [100]"),
    "main_stm32": ("STM32", "-1 1 10 True [100]"),
    "main_esp32": ("ESP32", "0 1 10 False [100]"),
}


def run(folder, main, *, leaking):
    """Run a main on MicroPython; return the finished process."""
    unix = next(e for e in ENGINES if e.name == "MicroPython unix, bytecode")
    require(unix.missing(), unix.remedy)
    shutil.copytree(Path(firmware_model.__file__).parent, folder / "firmware_model")
    shutil.copy(HERE / "simulated_board.py", folder)
    micropython = program("micropython")
    call = f"simulated_board.run({main!r}, {MAINS[main][0]!r}, {leaking})"
    command = [micropython, "-c", f"import simulated_board; {call}"]
    return subprocess.run(
        command, cwd=folder, capture_output=True, text=True, timeout=60, check=False
    )


@pytest.mark.parametrize("main", MAINS)
def test_mains_drive_valves_as_the_law_says(tmp_path, main):
    block = DeviceBlock(tick_s=TICK_MS / 1e3)
    block["START_TICKS"] = 5
    (tmp_path / "pilot.0").write_bytes(pack_block(block))
    done = run(tmp_path, main, leaking=False)
    assert done.returncode == 0, done.stderr
    timer, *ticks, last = done.stdout.splitlines()
    assert timer == MAINS[main][1]
    device = SupervisedController(block)
    drives = []
    for k, line in enumerate(ticks):
        drive, fill, vent, lamp, weight = map(int, line.split())
        counts = (30_000 >> 1, (10_000 + 900 * k) >> 1, 32_768 >> 1)
        device.tick(*counts, late_ticks=1 if k % 20 == 0 else 0)
        drives.append(device.word("DRIVE"))
        assert drive == drives[-1]
        duty = abs(drive) * 32_767 // 12_500
        assert (fill, vent) == ((duty, 0) if drive > 0 else (0, duty))
        assert (lamp, weight) == (device.word("LAMP"), device.word("LATE_WEIGHT"))
    assert device.condition == "running"
    assert min(drives) < 0 < max(drives)
    # A tick that finds the last one still running is missed.
    assert int(last) == 1


def test_mains_without_stored_parameters_keep_the_safe_output(tmp_path):
    done = run(tmp_path, "main_rp2", leaking=False)
    assert done.returncode == 0, done.stderr
    _, *ticks, _ = done.stdout.splitlines()
    assert {int(line.split()[0]) for line in ticks} == {-25_000}


def test_mains_heap_lock_sees_an_allocation_in_the_callback(tmp_path):
    done = run(tmp_path, "main_rp2", leaking=True)
    assert done.returncode != 0
    assert "MemoryError" in done.stderr + done.stdout
