"""The exported C: clean, agreeing bit for bit, and nothing translated by guess.

Agreement runs over all state words of every tick: 200 000 random ticks by
default, 1 000 000 with HYPOTHESIS_PROFILE=ci or deep; with the sanitizers too,
since they cost little here.
"""

import ast
import os
import re
import subprocess
from random import Random

import pytest
from required import require

from host_sim.errors import InputError
from host_sim.prove.c99 import LAW_FOLDER, export_c99
from host_sim.prove.c99_law import MODULES, PUBLIC, write_law
from host_sim.prove.c_engines import C_ENGINES, REPLAY, compile_c, write_c99
from host_sim.prove.engine import EngineError
from host_sim.prove.engines import ENGINES
from host_sim.prove.episodes import draw_episode, write_episodes
from host_sim.prove.vectors import vector_texts

LONG = os.environ.get("HYPOTHESIS_PROFILE") in ("ci", "deep")
TICKS = 500
EPISODES = 2_000 if LONG else 400


@pytest.fixture(scope="module")
def recording(tmp_path_factory):
    """Write the episodes once, and what CPython makes of them."""
    path = tmp_path_factory.mktemp("episodes") / "episodes.bin"
    random = Random(20_261_126)
    write_episodes(path, (draw_episode(random, TICKS) for _ in range(EPISODES)))
    return path, ENGINES[0].run(path, "law")


@pytest.fixture(scope="module")
def selftest(tmp_path_factory):
    """Compile the self-test beside a good set of vectors."""
    require(C_ENGINES[0].missing(), C_ENGINES[0].remedy)
    folder = tmp_path_factory.mktemp("c99")
    sources = [write_c99(folder), folder / "selftest.c"]
    compile_c(sources, folder / "selftest", ("-O2",))
    return folder / "selftest"


def run_selftest(program, folder, texts):
    for name, text in texts.items():
        (folder / name).write_text(text)
    files = [str(folder / name) for name in ("parameters.txt", "ticks.txt")]
    return subprocess.run(
        [str(program), *files], capture_output=True, text=True, timeout=60, check=False
    )


@pytest.mark.parametrize("engine", C_ENGINES, ids=lambda engine: engine.name)
def test_c99_agrees_on_every_word_of_every_tick(engine, recording):
    require(engine.missing(), engine.remedy)
    path, expected = recording
    assert len(expected) == EPISODES
    assert engine.run(path, "law") == expected


def test_c99_agreement_sees_another_law(recording, tmp_path):
    """One rounding changed in the C must change the lines."""
    require(C_ENGINES[0].missing(), C_ENGINES[0].remedy)
    path, expected = recording
    law = write_c99(tmp_path)
    text = law.read_text()
    assert text.count("value * gain + half") == 1
    law.write_text(text.replace("value * gain + half", "value * gain + half - 1"))
    compile_c([law, REPLAY], tmp_path / "replay", ("-O2", f"-I{tmp_path}"))
    done = subprocess.run(
        [str(tmp_path / "replay"), str(path)],
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    )
    assert done.stdout.splitlines() != expected


def test_c99_has_no_heap_to_lock(recording):
    with pytest.raises(EngineError, match="heap"):
        C_ENGINES[0].run(recording[0], "leaking")


@pytest.mark.parametrize("level", ["-O0", "-Os", "-O3"])
def test_c99_compiles_without_a_warning(level, tmp_path):
    require(C_ENGINES[0].missing(), C_ENGINES[0].remedy)
    sources = [write_c99(tmp_path), tmp_path / "selftest.c"]
    compile_c(sources, tmp_path / "selftest", (level,))


def test_c99_needs_nothing_but_stdint():
    texts = export_c99()
    law = re.sub(r"/\*.*?\*/", "", texts["law.h"] + texts["law.c"], flags=re.DOTALL)
    assert re.findall(r"#include\s+(\S+)", law) == ["<stdint.h>", '"law.h"']
    words = set(re.findall(r"[A-Za-z_]\w*", law))
    wide = {"int64_t", "uint64_t", "long", "double", "float", "INT64_C", "intmax_t"}
    assert not words & wide
    assert "int32_t" in words


def test_c99_keeps_every_function_and_its_docstring():
    law = export_c99()["law.c"]
    for name in MODULES:
        for node in ast.walk(ast.parse((LAW_FOLDER / f"{name}.py").read_text())):
            if isinstance(node, ast.FunctionDef) and node.name != "const":
                symbol = PUBLIC.get(node.name, node.name)
                assert re.search(rf"\b{symbol}\(", law), node.name
                assert ast.get_docstring(node).splitlines()[0] in law, node.name


def test_c99_selftest_passes_on_the_vectors(selftest, tmp_path):
    done = run_selftest(selftest, tmp_path, vector_texts())
    assert done.returncode == 0, done.stdout
    assert "every word agrees" in done.stdout


def edit_digit(text, line):
    """Change the last decimal digit of a line's second number."""
    parts = line.split(" ")
    parts[2] = parts[2][:-1] + str((int(parts[2][-1]) + 1) % 10)
    return text.replace(line, " ".join(parts), 1)


@pytest.mark.parametrize("file", ["parameters.txt", "ticks.txt"])
def test_c99_selftest_fails_on_one_edited_digit(file, selftest, tmp_path):
    texts = vector_texts()
    line = re.search(r"^(block|tick) .*$", texts[file], flags=re.MULTILINE).group()
    texts[file] = edit_digit(texts[file], line)
    done = run_selftest(selftest, tmp_path, texts)
    assert done.returncode == 1
    assert file in done.stdout


@pytest.mark.parametrize("keyword", ["state", "tick"])
def test_c99_selftest_finds_a_difference_by_replay(keyword, selftest, tmp_path):
    """The edit stands far above the sum line, so the replay meets it first."""
    texts = vector_texts()
    lines = re.findall(rf"^{keyword} .*$", texts["ticks.txt"], flags=re.MULTILINE)
    texts["ticks.txt"] = edit_digit(texts["ticks.txt"], lines[3])
    done = run_selftest(selftest, tmp_path, texts)
    assert done.returncode == 1
    assert "differs" in done.stdout
    assert "sum" not in done.stdout


def test_c99_selftest_refuses_a_file_cut_short(selftest, tmp_path):
    texts = vector_texts()
    texts["ticks.txt"] = texts["ticks.txt"][:-400]
    done = run_selftest(selftest, tmp_path, texts)
    assert done.returncode == 1
    assert "cut short" in done.stdout


# What Python allows and C, or this export, does not: one line of a stage each.
UNKNOWN = {
    "x = 1.5": "unknown expression",
    "x = True": "unknown expression",
    "x = 7 % 3": "unknown operator Mod",
    "x = 7 / 3": "unknown operator Div",
    "x = 7 ** 3": "unknown operator Pow",
    "x = ~7": "unknown expression",
    "x = 30_000 * 2": "give the result as a constant",
    "x = int(state[0]) > 3": "no number",
    "x = int(state[0]) or 3": "no number",
    "x = [1]": "unknown expression",
    "x = abs(int(state[0]))": "unknown expression",
    "x = unknown": "no number on every way",
    "x = int(state[-1])": "counts from the start",
    "x = y = 3": "unknown statement Assign",
    "x: int = 3": "unknown statement AnnAssign",
    "x, y = 1, 2": "unknown expression Tuple",
    "long = 3": "cannot name a local",
    "clamp = 3": "cannot name a local",
    "params[0] = 3": "only locals and state",
    "state[0] += 3": "unknown statement AugAssign",
    "x = 1\n    x >>= 1": "write it out",
    "x += 1": "no number on every way",
    "while int(state[0]): state[0] = 0": "unknown statement While",
    "for k in range(int(state[0])): state[k] = 0": "only `for new in range",
    "for k in range(0, int(state[0])): state[k] = 0": "only `for new in range",
    "for k in range(0, 9): k = 1": "only `for new in range",
    "return 3": "annotation and return disagree",
    "global x": "unknown statement Global",
    "raise ValueError": "unknown statement Raise",
    "print(int(state[0]))": "not a function of the law",
    "x = clamp(1, 2)": "arguments are given by place",
    "x = clamp(1, 2, high=3)": "arguments are given by place",
    "x = amplify(state, 0, 3)": "passed on under its own name",
    "watch(state, 8, 1, 3, carry(state, 8, params, 0, 3))": "must stand alone",
    "if allowance(state, 8, params, 14): state[0] = 0": "must stand alone",
    "x = watch(state, 8, 1, 3, 0)": "returns nothing",
    "if int(state[0]):\n        x = 1\n    state[0] = x": "no number on every way",
    "if 0 < clamp(1, 0, 3) < 3: state[0] = 0": "twice",
    "if int(state[0]) is 3: state[0] = 0": "unknown comparison",
    "if int(state[0]) in (3, 4): state[0] = 0": "unknown expression",
    "try: state[0] = 0\n    except ValueError: state[0] = 1": "unknown statement Try",
    "def inner(): return": "unknown statement FunctionDef",
}


def write_law_with(tmp_path, module, addition):
    """Write the law's C with something added at the end of one module."""
    for name in MODULES:
        text = (LAW_FOLDER / f"{name}.py").read_text()
        added = f"\n\n{addition}\n" if name == module else ""
        (tmp_path / f"{name}.py").write_text(text + added)
    return write_law(tmp_path)


@pytest.mark.parametrize("line", UNKNOWN)
def test_c99_refuses_what_it_does_not_know(line, tmp_path):
    length = len((LAW_FOLDER / "drive.py").read_text().splitlines())
    with pytest.raises(InputError) as refusal:
        write_law_with(tmp_path, "drive", f"def added(state, params):\n    {line}")
    said = str(refusal.value)
    where = re.match(r"drive\.py:(\d+): no C99 for `", said)
    assert where, said
    assert length + 4 <= int(where.group(1)) <= length + 6
    assert UNKNOWN[line] in said
    assert "\n" not in said


@pytest.mark.parametrize(
    ("addition", "why"),
    [
        ("import sys", "only constants and functions"),
        ("TABLE = (1, 2)", "only constants and functions"),
        ("_X = const(2 + 3)", "a constant is one literal"),
        ("_FULL = const(24_000)", "_FULL is 25000 elsewhere"),
        ("_OUTPUT = const(35)", "_OUTPUT is 36 elsewhere"),
        ("def clamp(state):\n    return", "one function of a name"),
        ("def added(state, x=3):\n    return", "only plain parameters"),
        ("def added(state, *x):\n    return", "only plain parameters"),
        ("@wrapped\ndef added(state):\n    return", "only plain parameters"),
        ("def added(state, x: float):\n    return", "only int is annotated"),
        ("def added(state, x):\n    return", "neither a number nor an array"),
        ("def added(state) -> int:\n    state[0] = 1", "one way through it"),
        ('def added(state):\n    """Close */ it."""', "end its comment"),
    ],
)
def test_c99_refuses_what_a_module_may_not_hold(addition, why, tmp_path):
    with pytest.raises(InputError, match=r"^drive\.py:\d+: ") as refusal:
        write_law_with(tmp_path, "drive", addition)
    assert why in str(refusal.value)


def test_c99_knows_what_the_refused_lines_stand_beside(tmp_path):
    """The frame of the refusals is itself translated, so each line is at fault."""
    body = "x = clamp(int(state[0]), 0, 3)\n    state[0] = x if x > 1 else -x"
    law = write_law_with(tmp_path, "drive", f"def added(state, params):\n    {body}")
    assert "    state[0] = x > 1 ? x : -x;\n" in law
