"""Small families of invented machines that are tuned within a second or two."""

import tempfile
from functools import cache
from pathlib import Path

from lone_bag import lone_bag

from host_sim.scenario.load import load_scenario, shipped_scenario_path
from host_sim.tune import tune as tuning

MEMBERS = 4
FEW = (8, 8)
"""Generations in place of those of a real tuning."""
CALM = (
    ('ripple = "50 mbar"\nripple_frequency = "1.5 Hz"\n', ""),
    ('dither = "1 %"\nhalf_period = "20 ms"', ""),
    ('volume = "10 L"', 'volume = "2 L"'),
    ('["0.2 s", "14 mA"], ["5 s", "11 mA"]', '["2 s", "14 mA"], ["6 s", "11 mA"]'),
)
"""So that few generations are enough."""
LIMITS = {"overshoot": '"30 %"', "ms": 2.5, "travel": 6}


def press(folder):
    """Load the shipped press, two steps of it, with few machines and wide limits."""
    return load_scenario(press_file(folder / "press.toml"))


def press_file(path):
    text = shipped_scenario_path().read_text(encoding="utf-8")
    for old, new in (('"12 s"', '"8 s"'), ('  ["8 s", "8 mA"],\n', "")):
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    text += '\n[family]\nmembers = 2\n\n[limits]\novershoot = "60 %"\nms = 3\n'
    path.write_text(text, encoding="utf-8")
    return path


def bag_file(path, *changes, family=None, limits=None):
    """Write one bag, its family and limits; values as TOML writes them."""
    tables = {
        "family": {"members": MEMBERS, **(family or {})},
        "limits": {**LIMITS, **(limits or {})},
    }
    lone_bag(path, *CALM, *changes)
    rows = [path.read_text(encoding="utf-8")]
    for name, keys in tables.items():
        rows += [f"\n[{name}]\n", *(f"{key} = {keys[key]}\n" for key in keys)]
    path.write_text("".join(rows), encoding="utf-8")
    return path


def bag(folder, *changes, **tables):
    return load_scenario(bag_file(folder / "bag.toml", *changes, **tables))


def tuned_bag(scenario, seed=1, identified=None, rounds=FEW):
    """Tune in few generations."""
    usual, tuning.ROUNDS = tuning.ROUNDS, rounds
    try:
        return tuning.tune(scenario, seed, lambda words, share: None, identified)
    finally:
        tuning.ROUNDS = usual


@cache
def usual(make=bag):
    """Tune a machine as it is, once for all tests of a process."""
    with tempfile.TemporaryDirectory() as folder:
        return tuned_bag(make(Path(folder)))
