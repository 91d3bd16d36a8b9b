"""The layout is the one truth: stages agree with it, and stay on integers."""

import ast
import re
from pathlib import Path

import pytest

import firmware_model
from firmware_model.law import layout
from host_sim.law.stages import STAGES

BOARD_FILES = sorted(Path(firmware_model.__file__).parent.rglob("*.py"))
SLOTS = {
    row[0]: slot
    for table in (layout.STATE, layout.PARAMETERS)
    for slot, row in enumerate(table)
}
BOARD_IMPORTS = {
    "array",
    "firmware_model",
    "gc",
    "machine",
    "microbit",
    "micropython",
    "select",
    "sys",
    "time",
}


def test_layout_names_are_unique():
    names = [row[0] for row in layout.STATE + layout.PARAMETERS]
    assert len(SLOTS) == len(names)


@pytest.mark.parametrize("stage", STAGES, ids=lambda stage: stage.__name__)
def test_layout_constants_of_a_stage_agree(stage):
    constants = {
        name[1:]: number
        for name, number in vars(stage).items()
        if re.fullmatch(r"_[A-Z][A-Z0-9_]*", name)
    }
    for name in constants.keys() & SLOTS.keys():
        assert constants[name] == SLOTS[name], name


def test_layout_every_word_is_used_by_a_stage():
    used = {name[1:] for stage in STAGES for name in vars(stage)}
    unused = {name for name in SLOTS if name not in used}
    tables = {f"FLOW_{k}" for k in range(17)} | {f"HOLD_{k}" for k in range(15)}
    shifts = {name for name in SLOTS if name.endswith("_SHIFT")}
    assert unused <= tables | shifts


def test_layout_every_gain_is_followed_by_its_shift():
    for name, slot in SLOTS.items():
        if name.endswith("_GAIN"):
            assert SLOTS[name.replace("_GAIN", "_SHIFT")] == slot + 1


def test_layout_fresh_block_is_legal():
    for name, (low, high), fresh, _ in layout.PARAMETERS:
        assert low <= fresh <= high, name


@pytest.mark.parametrize(
    "path", BOARD_FILES, ids=lambda path: f"{path.parent.name}.{path.stem}"
)
def test_board_code_has_no_float_and_no_foreign_import(path):
    for node in ast.walk(ast.parse(path.read_text())):
        assert not isinstance(node, ast.Div), path
        if isinstance(node, ast.Constant):
            assert not isinstance(node.value, float | complex), path
        if isinstance(node, ast.ImportFrom):
            assert node.module.split(".")[0] in BOARD_IMPORTS, path
        if isinstance(node, ast.Import):
            for alias in node.names:
                assert alias.name.split(".")[0] in BOARD_IMPORTS, path
