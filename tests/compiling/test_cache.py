"""Code on disk is believed only if whole; no trouble with the folder is the user's."""

import os
from concurrent.futures import ThreadPoolExecutor
from types import SimpleNamespace

import numpy as np
import pytest
from straight_programs import load_program

from host_sim.compiling import cache, emit
from host_sim.compiling.native import Number, Table, compile_native
from host_sim.compiling.refusal import RefusedError

PROGRAM = """\
FACTOR = 3.0
PAIRS = ((1.0, 2.0), (3.0, 1.0))


def triple(number):
    return FACTOR * PAIRS[1][1] * number


def main(number, table):
    table[0] = triple(number)
"""
SIGNATURE = {"number": Number("float"), "table": Table("float", length=1)}


@pytest.fixture
def folder(tmp_path, monkeypatch):
    place = tmp_path / "cache" / "straight"
    monkeypatch.setattr(cache, "folder", lambda: place)
    return place


@pytest.fixture
def module(tmp_path):
    return load_program(PROGRAM, tmp_path / "program.py")


@pytest.fixture
def written(monkeypatch):
    """Count how often code is written instead of read."""
    count = SimpleNamespace(times=0)
    plain = emit.write

    def write(*arguments):
        count.times += 1
        return plain(*arguments)

    monkeypatch.setattr(emit, "write", write)
    return count


def run(module, lanes=1, modules=None):
    """Compile or load, run, and return what stands in the table."""
    code = compile_native(module.main, SIGNATURE, modules or [module], lanes)
    table = np.zeros((1, lanes))
    code({"number": 2.5, "table": table})
    return table[0].tolist()


def test_cache_code_is_read_the_second_time(folder, module, written):
    assert run(module) == [7.5]
    assert run(module) == [7.5]
    assert written.times == 1
    assert len(list(folder.iterdir())) == 1


SPOILED = {
    "empty": lambda content: b"",
    "shorter than its digest": lambda content: content[:20],
    "cut off": lambda content: content[:-1],
    "half": lambda content: content[: len(content) // 2],
    "one bit": lambda content: (
        content[:100] + bytes([content[100] ^ 1]) + content[101:]
    ),
    "digest": lambda content: bytes([content[0] ^ 1]) + content[1:],
    "zeros": lambda content: bytes(len(content)),
    "more": lambda content: content + b"\0",
    "text": lambda content: b"no machine code at all\n" * 100,
}


@pytest.mark.parametrize("how", SPOILED)
def test_cache_spoiled_file_is_compiled_anew_and_mended(how, folder, module, written):
    run(module)
    (path,) = folder.iterdir()
    whole = path.read_bytes()
    path.write_bytes(SPOILED[how](whole))
    assert run(module) == [7.5]
    assert written.times == 2
    assert path.read_bytes() == whole


def test_cache_folder_that_cannot_be_made_costs_only_time(folder, module, written):
    folder.parent.parent.joinpath("cache").write_text("a file in the way")
    assert run(module) == [7.5]
    assert run(module) == [7.5]
    assert written.times == 2


def test_cache_folder_without_permission_costs_only_time(
    folder, module, written, monkeypatch
):
    def refuse(**_):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(cache.tempfile, "mkstemp", refuse)
    assert run(module) == [7.5]
    assert run(module) == [7.5]
    assert written.times == 2


def test_cache_folder_in_the_place_of_a_file_costs_only_time(folder, module, written):
    run(module)
    (path,) = folder.iterdir()
    path.unlink()
    path.mkdir()
    assert run(module) == [7.5]
    assert [one.name for one in folder.iterdir()] == [path.name]


def test_cache_full_disk_leaves_nothing_half_written(folder, module, monkeypatch):
    def full(handle, mode):
        os.close(handle)
        raise OSError("no space left on device")

    monkeypatch.setattr(cache.os, "fdopen", full)
    assert run(module) == [7.5]
    assert list(folder.iterdir()) == []


def test_cache_many_writers_and_readers_see_whole_files_only(folder):
    codes = [bytes([k]) * (5_000 + 997 * k) for k in range(8)]

    def write(k):
        cache.keep("one.o", codes[k % 8])
        return cache.load("one.o")

    with ThreadPoolExecutor(8) as pool:
        found = list(pool.map(write, range(400)))
    assert set(found) <= set(codes)
    assert [one.name for one in folder.iterdir()] == ["one.o"]


def test_cache_drops_what_was_not_used_for_longest(folder, monkeypatch):
    monkeypatch.setattr(cache, "LIMIT_BYTES", 3 * 132)
    for k, name in enumerate(("a.o", "b.o", "c.o")):
        cache.keep(name, bytes(100))
        os.utime(folder / name, (k, k))
    assert cache.load("a.o") == bytes(100)
    cache.keep("d.o", bytes(100))
    assert sorted(one.name for one in folder.iterdir()) == ["a.o", "c.o", "d.o"]
    assert cache.load("b.o") is None


# -- what makes code another code ----------------------------------------------


def test_cache_changed_constant_is_compiled_anew(folder, module, monkeypatch):
    run(module)
    monkeypatch.setattr(module, "FACTOR", 4.0)
    assert run(module) == [10.0]
    monkeypatch.setattr(module, "PAIRS", ((1.0, 2.0), (3.0, 10.0)))
    assert run(module) == [100.0]


def test_cache_changed_function_is_compiled_anew(folder, module, monkeypatch, tmp_path):
    run(module)
    other = load_program(
        "def half(number):\n    return 0.5 * number\n", tmp_path / "o.py"
    )
    monkeypatch.setattr(module, "triple", other.half)
    assert run(module, modules=[module, other]) == [1.25]


def test_cache_changed_source_is_compiled_anew(folder, module, tmp_path):
    run(module)
    text = PROGRAM.replace("table[0] = ", "table[0] = 2.0 * ")
    assert run(load_program(text, tmp_path / "program_2.py")) == [15.0]


def test_cache_each_number_of_lanes_has_its_code(folder, module):
    assert run(module) == [7.5]
    assert run(module, lanes=4) == [7.5] * 4
    assert len(list(folder.iterdir())) == 2


def test_cache_module_that_nobody_named_is_refused(folder, module, tmp_path):
    other = load_program(PROGRAM, tmp_path / "other_program.py")
    with pytest.raises(RefusedError, match=r"nobody named: \['program'\]"):
        run(module, modules=[other])
    assert not folder.exists()
