"""The table of keys: complete, sound, and rendered whole."""

import re

import pytest

from host_sim.errors import InputError
from host_sim.scenario.keys import ONE_OF, TABLES
from host_sim.scenario.reading import example, read_key
from host_sim.scenario.refusal import refusal
from host_sim.scenario.schema import REQUIRED, Choices, Pairs, Same, join, keys_markdown
from host_sim.scenario.units import KINDS, Basis

BASIS = Basis(span_pa=6e5, scfm_density_kg_m3=1.2226)
KEYS = {join(table.path, key.name): key for table in TABLES for key in table.keys}


def test_schema_paths_are_unique():
    assert len(KEYS) == sum(len(table.keys) for table in TABLES)


@pytest.mark.parametrize("path", KEYS)
def test_schema_kind_default_and_range_are_sound(path):
    key = KEYS[path]
    kinds = [key.kind]
    if isinstance(key.kind, Pairs):
        kinds = list(key.kind)
    for kind in kinds:
        known = isinstance(kind, Choices) or kind in {*KINDS, "text", "flag", "whole"}
        assert known
    if isinstance(key.default, Same):
        order = list(KEYS)
        assert order.index(key.default.path) < order.index(path)
        assert KEYS[key.default.path].kind in (key.kind, "absolute pressure")
    elif key.default not in (REQUIRED, None):
        read_key(key, key.default, path, BASIS)
    numeric = isinstance(key.kind, Pairs) or key.kind in {*KINDS, "whole"}
    assert bool(key.allowed) == numeric


@pytest.mark.parametrize("path", [p for p, key in KEYS.items() if key.kind in KINDS])
def test_schema_bounds_are_in_and_beyond_them_is_out(path):
    key = KEYS[path]
    low, high, unit = re.fullmatch(r"(\S+) \.\.\. (\S+) ?(.*)", key.allowed).groups()
    read_key(key, f"{low} {unit}", path, BASIS)
    read_key(key, f"{high} {unit}", path, BASIS)
    margin = 0.001 * max(abs(float(low)), 1e-6)
    for beyond in (float(high) * 1.001, float(low) - margin):
        with pytest.raises(InputError):
            read_key(key, f"{beyond!r} {unit}", path, BASIS)


@pytest.mark.parametrize("path", KEYS)
def test_schema_remedy_of_a_missing_key_names_a_value(path):
    assert example(KEYS[path])


def test_schema_groups_name_tables_or_keys_that_exist():
    known = {*KEYS, *(table.path for table in TABLES)}
    for group in ONE_OF:
        assert set(group.paths) <= known


def test_schema_document_holds_every_key_and_meaning():
    text = keys_markdown(TABLES, ONE_OF)
    for table in TABLES:
        assert table.meaning in text
        for key in table.keys:
            assert f"| `{key.name}` |" in text
            assert key.meaning in text
    for group in ONE_OF:
        assert group.meaning in text


def test_refusal_is_one_line_and_short():
    error = refusal("a\nb", "x" * 500, "why\n not", "do")
    assert str(error).startswith("a b = 'xxx")
    assert str(error).endswith(": why not; do")
    assert len(str(error)) < 120
