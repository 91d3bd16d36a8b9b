"""Golden vectors: what is stored is what the command writes, and a bad file says so.

The CRC check value is that of CRC-32/ISO-HDLC in the catalogue of parametrised
CRC algorithms (from memory; zlib computes the same).
"""

import json
import re
import zlib
from pathlib import Path
from types import SimpleNamespace

import pytest

from firmware_model.law import layout, tick
from host_sim.cli import vectors as command
from host_sim.errors import InputError
from host_sim.prove.vector_format import crc_text, seal
from host_sim.prove.vector_layout import layout_fingerprint
from host_sim.prove.vectors import check_vectors, golden_scenes, vector_texts

STORED = Path(__file__).parents[1] / "vectors"
LARGEST_BYTES = 3_000_000
SLOTS = [row[0] for row in layout.STATE]
FILES = ("parameters.txt", "ticks.txt")


@pytest.fixture(scope="module")
def texts():
    """Write the vectors once."""
    return vector_texts()


@pytest.fixture
def folder(texts, tmp_path):
    """Put a good set into a folder of its own."""
    for name, text in texts.items():
        (tmp_path / name).write_text(text)
    return tmp_path


def resealed(text):
    """Give an edited file the sum that fits it."""
    return seal(text.splitlines()[:-1])[0]


def test_vectors_stored_are_what_the_command_writes(texts):
    assert sorted(path.name for path in STORED.iterdir()) == sorted(texts)
    for name, text in texts.items():
        assert (STORED / name).read_bytes() == text.encode(), name


def test_vectors_stay_small(texts):
    assert sum(map(len, texts.values())) < LARGEST_BYTES


def test_vectors_agree_with_the_law():
    found = check_vectors(STORED)
    assert found.difference is None
    assert found.episodes == len(golden_scenes())
    assert found.ticks == sum(len(scene.inputs) for scene in golden_scenes())


def test_vectors_hold_only_legal_words():
    spans = [row[1] for row in layout.PARAMETERS]
    state_spans = [row[1] for row in layout.STATE]
    for scene in golden_scenes():
        pairs = [*zip(spans, scene.params, strict=True)]
        pairs += zip(state_spans, scene.start, strict=True)
        for inputs in scene.inputs:
            pairs += zip(state_spans, inputs, strict=False)
        assert all(low <= word <= high for (low, high), word in pairs), scene.name


def test_vectors_visit_every_mode_drive_and_fault(texts):
    lines = re.findall(r"^state (.*)$", texts["ticks.txt"], flags=re.MULTILINE)
    rows = [line.split() for line in lines]
    seen = {name: {int(row[k]) for row in rows} for k, name in enumerate(SLOTS)}
    assert seen["MODE"] == {0, 1, 2, 3}
    assert seen["ACTIVE"] == {0, 1, 2, 3, 4, 5}
    assert {1, 2, 4, 8} <= seen["FAULTS"]
    assert {-25_000, 0, 25_000} <= seen["DRIVE"]
    assert {2_048, 4_096, 16_384} <= seen["COMPENSATION"]
    kind = [row[0] for row in layout.PARAMETERS].index("DRIVE_KIND")
    assert {scene.params[kind] for scene in golden_scenes()} == {0, 1}


def test_vectors_crc_has_the_published_check_value():
    assert crc_text(zlib.crc32(b"123456789")) == "cbf43926"


def test_vectors_running_crc_is_what_the_header_says(texts):
    """Redo the first episode's first CRC bit by bit, from the text alone."""
    lines = [line.split() for line in texts["ticks.txt"].splitlines()]
    first = next(k for k, line in enumerate(lines) if line[0] == "tick")
    params = next(
        line.split()[2:]
        for line in texts["parameters.txt"].splitlines()
        if line.startswith("block 0 ")
    )
    state = [int(word) for word in lines[first - 1][1:]]
    state[:5] = [int(word) for word in lines[first][1:6]]
    tick.tick(state, [int(word) for word in params])
    crc = 0xFFFF_FFFF
    for word in state:
        for shift in (0, 8, 16, 24):
            crc ^= word >> shift & 255
            for _ in range(8):
                crc = crc >> 1 ^ (0xEDB8_8320 if crc & 1 else 0)
    assert lines[first][-1] == f"{crc ^ 0xFFFF_FFFF:08x}"


def departing_law(at_tick, word="OUTPUT"):
    """Make a law that adds one to a word in one tick since reset."""

    def depart(state, params):
        tick.tick(state, params)
        if state[SLOTS.index("TICKS")] == at_tick:
            state[SLOTS.index(word)] += 1

    return SimpleNamespace(tick=depart, reset=tick.reset)


def test_vectors_check_names_the_first_difference():
    difference = check_vectors(STORED, departing_law(37, "INTEGRAL")).difference
    assert (difference.episode, difference.tick) == ("fresh-block", 37)
    assert difference.seen_at == 48
    assert difference.word == "DEMAND"
    assert difference.expected != difference.got
    assert "after tick 37: the law departs" in difference.in_words()


def test_vectors_check_names_the_word_at_a_recorded_tick():
    difference = check_vectors(STORED, departing_law(48)).difference
    assert (difference.tick, difference.seen_at) == (48, 48)
    assert difference.word == "OUTPUT"
    assert difference.got == difference.expected + 1


def test_vectors_check_sees_a_difference_that_heals():
    def depart(state, params):
        supply = state[2]
        tick.tick(state, params)
        state[2] = 0 if state[6] == 37 else supply

    healing = SimpleNamespace(tick=depart, reset=tick.reset)
    difference = check_vectors(STORED, healing).difference
    assert (difference.tick, difference.word) == (37, None)
    assert "as expected again" in difference.in_words()


def test_vectors_check_sees_a_reset_that_forgets_too_little():
    def reset(state):
        tick.reset(state)
        state[8] = 1

    difference = check_vectors(
        STORED, SimpleNamespace(tick=tick.tick, reset=reset)
    ).difference
    assert (difference.tick, difference.word) == (0, "CURRENT_TIMER")


@pytest.mark.parametrize("file", FILES)
def test_vectors_refuse_an_edited_file(file, folder):
    path = folder / file
    text = path.read_text()
    at = text.index(" 16384 ", text.index("\nlayout"))
    path.write_text(text[:at] + " 16385 " + text[at + 7 :])
    with pytest.raises(InputError, match="edited") as refusal:
        check_vectors(folder)
    assert_helps(refusal, file)


@pytest.mark.parametrize("file", FILES)
@pytest.mark.parametrize("left", [0, 1, 5_000, -1, -14])
def test_vectors_refuse_a_file_cut_short(file, left, folder):
    path = folder / file
    path.write_bytes(path.read_bytes()[:left])
    with pytest.raises(InputError, match="cut short") as refusal:
        check_vectors(folder)
    assert_helps(refusal, file)


@pytest.mark.parametrize("file", FILES)
def test_vectors_refuse_another_layout(file, folder):
    path = folder / file
    text = path.read_text().replace(f"layout {layout_fingerprint()}", "layout 00000001")
    path.write_text(resealed(text))
    with pytest.raises(InputError, match="another layout") as refusal:
        check_vectors(folder)
    assert_helps(refusal, file)


def test_vectors_refuse_files_that_do_not_belong_together(folder):
    path = folder / "parameters.txt"
    path.write_text(
        resealed(path.read_text().replace("block 0 12500", "block 0 12501"))
    )
    with pytest.raises(InputError, match="not written with it") as refusal:
        check_vectors(folder)
    assert_helps(refusal, "ticks.txt")


@pytest.mark.parametrize(
    ("line", "put", "why"),
    [
        ("reset", "restart", "unknown keyword 'restart'"),
        ("start ", "start 0 ", "43 words instead of 42"),
        ("tick ", "tick 0 ", "6 words instead of 5"),
    ],
)
def test_vectors_refuse_what_the_format_does_not_know(line, put, why, folder):
    path = folder / "ticks.txt"
    path.write_text(resealed(path.read_text().replace(f"\n{line}", f"\n{put}", 1)))
    with pytest.raises(InputError, match=why) as refusal:
        check_vectors(folder)
    assert_helps(refusal, "ticks.txt")


def test_vectors_refuse_a_missing_file(tmp_path):
    with pytest.raises(InputError, match="No such file") as refusal:
        check_vectors(tmp_path)
    assert_helps(refusal, "parameters.txt")


def assert_helps(refusal, file):
    said = str(refusal.value)
    assert file in said
    assert "\n" not in said
    assert "rewrite both files with `integer-pilot vectors write`" in said


def test_layout_fingerprint_follows_names_and_ranges(monkeypatch):
    before = layout_fingerprint()
    (name, span, fresh, meaning), *others = layout.PARAMETERS
    for changed, same in (
        ((name, span, fresh + 1, meaning + "."), True),
        ((name + "X", span, fresh, meaning), False),
        ((name, (span[0], span[1] + 1), fresh, meaning), False),
    ):
        monkeypatch.setattr(layout, "PARAMETERS", (changed, *others))
        assert (layout_fingerprint() == before) == same


def test_vectors_command_reports_json_and_status(monkeypatch, capsys):
    args = SimpleNamespace(folder=STORED, json=True)
    command.run_check(args)
    assert json.loads(capsys.readouterr().out)["difference"] is None
    monkeypatch.setattr(check_vectors, "__defaults__", (departing_law(48),))
    with pytest.raises(SystemExit) as end:
        command.run_check(args)
    assert end.value.code == command.DIFFERENT
    assert json.loads(capsys.readouterr().out)["difference"]["word"] == "OUTPUT"


def test_vectors_command_writes_both_files(tmp_path, capsys, texts):
    command.run_write(SimpleNamespace(folder=tmp_path / "new", json=True))
    files = json.loads(capsys.readouterr().out)["files"]
    assert [Path(row["file"]).name for row in files] == list(FILES)
    for row in files:
        assert Path(row["file"]).read_text() == texts[Path(row["file"]).name]
        assert row["size_bytes"] == Path(row["file"]).stat().st_size
