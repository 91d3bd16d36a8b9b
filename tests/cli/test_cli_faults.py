"""`faults` and the documents' table of faults."""

import json
import os
from pathlib import Path

import pytest
from required import require

from firmware_model.device.faults import FAULTS
from host_sim.cli.main import main
from host_sim.device import fault_campaign
from host_sim.device.fault_campaign import MOMENTS, run_fault
from host_sim.device.supervised import DEVICE_SLOT
from host_sim.prove.engines import ENGINES
from host_sim.scenario.load import load_scenario, shipped_scenario_path
from host_sim.show.faults import faults_markdown

SLOW = os.environ.get("HYPOTHESIS_PROFILE") in ("ci", "deep")
PRESS = shipped_scenario_path()
QUICK = """
[supervisor]
stuck = "0.6 s"
apart_time = "1.2 s"
start = "0.1 s"
clear = "0.3 s"
"""


@pytest.fixture
def quick(tmp_path):
    path = tmp_path / "quick.toml"
    path.write_text(PRESS.read_text(encoding="utf-8") + QUICK, encoding="utf-8")
    return path


@pytest.fixture(autouse=True)
def _few_moments(monkeypatch):
    """Two moments in a quick run, and less time before the step."""
    if not SLOW:
        monkeypatch.setattr(fault_campaign, "MOMENTS", MOMENTS[::2])
        monkeypatch.setattr(fault_campaign, "SETTLE_S", 3.0)


def test_cli_faults_everything_is_as_the_table_states(quick, tmp_path, capsys):
    picture = tmp_path / "faults.png"
    assert main(["faults", str(quick), "--json", "--plot", str(picture)]) == 0
    runs = json.loads(capsys.readouterr().out)["runs"]
    assert len(runs) == len(fault_campaign.MOMENTS) * len(FAULTS)
    assert [run for run in runs if not run["as_stated"]] == []
    at_rest = [run for run in runs if run["moment"] == "at rest"]
    assert all(run["found_s"] <= run["stated_s"] for run in at_rest)
    assert not any(run["unwatched"] for run in at_rest)
    assert picture.stat().st_size > 20_000


def test_cli_faults_on_micropython_are_found_in_the_same_ticks(
    quick, capsys, monkeypatch
):
    unix = next(e for e in ENGINES if e.name == "MicroPython unix, bytecode")
    require(unix.missing(), unix.remedy)
    monkeypatch.setattr(fault_campaign, "MOMENTS", MOMENTS[2:3])
    found = {}
    for device in ("model", "unix"):
        assert main(["faults", str(quick), "--device", device, "--json"]) == 0
        found[device] = json.loads(capsys.readouterr().out)["runs"]
    assert all(run["as_stated"] for run in found["unix"])
    for here, there in zip(found["model"], found["unix"], strict=True):
        if here["fault"] == "PARAMETERS":
            assert there["unwatched"] == "its memory is not reached from here"
        else:
            assert there["found_s"] == here["found_s"]


def test_cli_faults_of_a_device_without_a_supervisor_are_refused(quick, capsys):
    board = next(e for e in ENGINES if "Cortex-M0 board" in e.name)
    require(board.missing(), board.remedy)
    assert main(["faults", str(quick), "--device", "emulated"]) == 2
    assert "has no supervisor" in capsys.readouterr().err


def test_faults_campaign_sees_a_supervisor_that_finds_too_late(quick):
    class Late(fault_campaign.SupervisedController):
        """One whose sensor patience is not what the block says."""

        def tick(self, *readings):
            slot = self.block.slot["SENSOR_PATIENCE"]
            self.block.words[slot] = 25
            return super().tick(*readings)

    run = run_fault(load_scenario(quick), "SENSOR OPEN", MOMENTS[0], Late)
    assert run.found_ticks == 25
    assert run.stated_ticks == 10
    assert not run.as_stated


def test_faults_campaign_sees_an_output_that_is_not_safe(quick):
    class Unsafe(fault_campaign.SupervisedController):
        """One that goes on in spite of a fault."""

        def tick(self, *readings):
            drive = super().tick(*readings)
            self.state[DEVICE_SLOT["ACTIVE"]] = 0
            return drive

    run = run_fault(load_scenario(quick), "SENSOR SHORT", MOMENTS[2], Unsafe)
    assert run.safe_ticks is None
    assert not run.as_stated


def test_faults_table_of_the_documents_is_the_boards():
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    assert faults_markdown() in readme
