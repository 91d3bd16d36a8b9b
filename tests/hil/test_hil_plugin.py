"""The pytest plugin as a user has it: the README's example, on several devices."""

import re
import subprocess
import sys
from pathlib import Path

import pytest
from required import require

from host_sim.prove.engines import ENGINES

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
(EXAMPLE,) = re.findall(r"```python\n(def test_press.*?)```", README, flags=re.DOTALL)
UNIX = next(e for e in ENGINES if e.name == "MicroPython unix, bytecode")
BOARD = next(e for e in ENGINES if "Cortex-M0 board" in e.name)
NEEDED = {"model": None, "unix": UNIX, "emulated": BOARD}
MORE = """
import pytest


def test_plant_is_the_recorders(recorder, plant):
    assert recorder.plant is plant
    assert recorder.time_s == 0.0


def test_acceptance_gives_figures(acceptance):
    figures = acceptance("restart")
    assert figures["restart_excursion"] < 5.0


def test_acceptance_names_what_there_is(acceptance):
    with pytest.raises(Exception, match="there are static, "):
        acceptance("nonsense")


@pytest.mark.needs_device("port")
def test_of_a_real_board():
    raise AssertionError("never here")


@pytest.mark.changes_supply
def test_that_changes_the_supply(scenario):
    assert scenario.ticks
"""


def run(folder, text, *options):
    """Run pytest on a test file of a user's; return its output."""
    (folder / "test_press.py").write_text(text, encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", *options],
        cwd=folder,
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    return done.stdout + done.stderr


def test_hil_example_has_ten_lines_at_most():
    assert len(EXAMPLE.strip().splitlines()) <= 10


@pytest.mark.parametrize("device", NEEDED)
def test_hil_example_passes(tmp_path, device):
    if NEEDED[device]:
        require(NEEDED[device].missing(), NEEDED[device].remedy)
    said = run(tmp_path, EXAMPLE, "--device", device)
    assert "1 passed" in said, said


def test_hil_example_fails_with_a_bad_device(tmp_path):
    text = Path(sys.modules["host_sim"].__file__).parent / "scenario" / "shipped"
    scenario = tmp_path / "slow.toml"
    scenario.write_text(
        (text / "veneer_press.toml")
        .read_text(encoding="utf-8")
        .replace('kc = "1.5 %/%"', 'kc = "9 %/%"'),
        encoding="utf-8",
    )
    said = run(tmp_path, EXAMPLE, "--scenario", str(scenario))
    assert "1 failed" in said, said


def test_hil_fixtures_and_markers(tmp_path):
    said = run(tmp_path, MORE, "--strict-markers")
    assert "4 passed, 1 skipped" in said, said


def test_hil_refuses_a_port_that_is_not_there(tmp_path):
    said = run(tmp_path, EXAMPLE, "--device", "/dev/ttyNONE")
    assert "/dev/ttyNONE" in said
    assert "1 error" in said
