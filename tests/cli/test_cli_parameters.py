"""`parameters` end to end: scenario to bytes to words and back."""

import json
import re

import pytest
from required import require

from firmware_model.device import protocol
from host_sim.cli.main import main
from host_sim.device.block_text import read_stored
from host_sim.device.device_block import DeviceBlock, device_block
from host_sim.device.link import DeviceLink
from host_sim.device.opened import open_line
from host_sim.device.transfer import fetch, send
from host_sim.prove.engines import ENGINES
from host_sim.scenario.load import load_scenario, shipped_scenario_path

PRESS = shipped_scenario_path()


def test_cli_parameters_packs_and_unpacks_what_the_scenario_says(tmp_path, capsys):
    packed, words = tmp_path / "press.block", tmp_path / "press.json"
    again = tmp_path / "again.block"
    assert main(["parameters", "pack", str(PRESS), str(packed)]) == 0
    assert main(["parameters", "unpack", str(packed), str(words)]) == 0
    assert main(["parameters", "pack", str(words), str(again)]) == 0
    assert again.read_bytes() == packed.read_bytes()
    told = json.loads(words.read_text())
    block = device_block(load_scenario(PRESS))
    assert told["tick_us"] == 10_000
    assert list(told["words"].values()) == list(block.words)
    capsys.readouterr()
    assert main(["parameters", "show", str(packed), "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == told


def test_cli_parameters_shows_gains_as_numbers(capsys):
    assert main(["parameters", "show", str(PRESS)]) == 0
    shown = capsys.readouterr().out
    (line,) = [line for line in shown.splitlines() if line.startswith("P_GAIN")]
    assert "(gain 1.5)" in line
    assert "STUCK_TICKS" in shown


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("a.json", "{", "no block in JSON"),
        ("a.json", '{"tick_us": 0, "words": {}}', "a tick of 0.0 s"),
        ("a.json", '{"tick_us": 1000, "words": {"P": 1}}', "words.P = 1"),
        ("a.json", '{"tick_us": 1000, "words": {"P_SHIFT": 40}}', r"1 \.\.\. 29"),
        ("a.json", '{"tick_us": 1000, "words": {"P_SHIFT": 1.5}}', "whole numbers"),
        ("a.block", "pi", "cut short at 2 bytes"),
    ],
)
def test_cli_parameters_refuses_in_one_line(tmp_path, capsys, name, content, said):
    path, target = tmp_path / name, tmp_path / "out.block"
    path.write_text(content)
    assert main(["parameters", "pack", str(path), str(target)]) == 2
    error = capsys.readouterr().err
    assert error.count("\n") == 1
    assert re.search(said, error), error
    assert not target.exists()


def test_cli_parameters_refuses_a_file_that_is_not_there(tmp_path, capsys):
    assert main(["parameters", "show", str(tmp_path / "none.block")]) == 2
    assert "none.block: No such file" in capsys.readouterr().err


@pytest.mark.parametrize("device", ["model", "unix"])
def test_cli_parameters_sends_and_fetches(tmp_path, capsys, device):
    if device == "unix":
        unix = next(e for e in ENGINES if e.name == "MicroPython unix, bytecode")
        require(unix.missing(), unix.remedy)
    assert main(["parameters", "send", str(PRESS), device]) == 0
    assert "113 parameters saved" in capsys.readouterr().out
    fetched = tmp_path / "fetched.block"
    assert main(["parameters", "fetch", device, str(fetched)]) == 0
    # A device that lives no longer than its link has the factory's words.
    factory = DeviceBlock(tick_s=0.01)
    assert read_stored(fetched).block.words == factory.words


def test_cli_parameters_refuses_a_port_that_is_not_there(tmp_path, capsys):
    target = tmp_path / "fetched.block"
    assert main(["parameters", "fetch", "/dev/ttyNONE", str(target)]) == 2
    error = capsys.readouterr().err
    assert error.count("\n") == 1
    assert "/dev/ttyNONE" in error
    assert not target.exists()


def test_transfer_keeps_what_was_sent():
    with DeviceLink(open_line("model", 10_000)) as link:
        block = device_block(load_scenario(PRESS))
        send(link, block)
        link.command(protocol.RESTORE)
        assert fetch(link).words == block.words
