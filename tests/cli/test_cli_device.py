"""`loop` and `device` at the command line, and what they refuse."""

import json
import os
import pty
import subprocess
import sys
import tty
from pathlib import Path

import pytest
from required import require

from host_sim.cli.main import main
from host_sim.device.line import LineLostError
from host_sim.device.line_in_process import InProcessLine
from host_sim.device.line_unix import serve_on
from host_sim.prove.engine import program
from host_sim.prove.engines import ENGINES
from host_sim.scenario.load import shipped_scenario_path

PRESS = str(shipped_scenario_path())
UNIX = next(e for e in ENGINES if e.name == "MicroPython unix, bytecode")


def test_cli_loop_gives_the_report_of_step_and_the_device(capsys, tmp_path):
    rows = tmp_path / "run.csv"
    assert main(["loop", PRESS, "--device", "model", "--json", "--csv", str(rows)]) == 0
    report = json.loads(capsys.readouterr().out)
    assert main(["step", PRESS, "--json"]) == 0
    step = json.loads(capsys.readouterr().out)
    assert report["steps"] == step["steps"]
    assert report["device"]["frames_repeated"] == 0
    assert report["device"]["ticks_per_s"] > 0
    assert len(rows.read_text().splitlines()) == 1_201


def test_cli_loop_with_the_cable_pulled_keeps_what_there_is(
    capsys, tmp_path, monkeypatch
):
    send, sent = InProcessLine.send, []

    def pulled(self, raw):
        sent.append(raw)
        if len(sent) > 700:
            raise LineLostError("model: the line is lost, cable pulled; plug it in")
        send(self, raw)

    monkeypatch.setattr(InProcessLine, "send", pulled)
    rows = tmp_path / "run.csv"
    assert main(["loop", PRESS, "--device", "model", "--csv", str(rows)]) == 2
    error = capsys.readouterr().err
    assert "plug it in" in error
    assert "ticks are kept" in error
    assert 400 < len(rows.read_text().splitlines()) < 701


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("/dev/ttyNONE", "no such port; ports here"),
        (__file__, "no serial port"),
    ],
)
@pytest.mark.parametrize("command", ["check", "console", "install"])
def test_cli_device_refuses_a_port_that_is_none(capsys, command, name, said):
    assert main(["device", command, name]) == 2
    error = capsys.readouterr().err
    assert said in error
    assert error.count("\n") == 1


@pytest.fixture
def terminal():
    """Give a pseudo-terminal: its near end and the far end's name."""
    near, far = pty.openpty()
    tty.setraw(far)
    yield near, os.ttyname(far)
    os.close(near)
    os.close(far)


def test_cli_device_that_is_silent_is_named(capsys, terminal):
    assert main(["device", "check", terminal[1]]) == 2
    error = capsys.readouterr().err
    assert "silent device, nothing came" in error
    assert error.count("\n") == 1


def test_cli_device_on_a_real_serial_port_checks_bit_for_bit(capsys, terminal):
    require(UNIX.missing(), UNIX.remedy)
    near, name = terminal
    process = serve_on(program("micropython"), near, 10_000, True, True)
    try:
        assert main(["device", "check", name, "--json"]) == 0
        report = json.loads(capsys.readouterr().out)
        assert report["difference"] is None
        assert report["device"]["firmware"] == "0.1.0"
        assert main(["loop", PRESS, "--device", name, "--json"]) == 0
        assert json.loads(capsys.readouterr().out)["device"]["tick_us"] == 10_000
    finally:
        process.kill()
        process.wait(10)


def test_cli_device_port_in_use_is_busy(capsys, terminal):
    import serial

    with serial.Serial(terminal[1], exclusive=True):
        assert main(["device", "check", terminal[1]]) == 2
    assert "port busy" in capsys.readouterr().err


def test_cli_device_console_talks_to_a_device(tmp_path):
    require(UNIX.missing(), UNIX.remedy)
    done = subprocess.run(
        [sys.executable, "-m", "host_sim", "device", "console", "unix"],
        input=b"*IDN?\nSYST:VERS?\nSYST:PROT OFF;:SOUR:PRES:DEAD 2;DEAD?\n",
        capture_output=True,
        timeout=60,
        check=True,
    )
    assert done.stdout.decode().splitlines() == [
        "integer-pilot,MicroPython unix,0,0.1.0",
        "1999.0",
        "2",
    ]


def test_cli_loop_free_running_keeps_time(capsys, tmp_path):
    require(UNIX.missing(), UNIX.remedy)
    short = tmp_path / "short.toml"
    text = Path(PRESS).read_text(encoding="utf-8")
    text = text.replace('duration = "12 s"', 'duration = "3 s"')
    short.write_text(text.replace('["4.5 s", "16 mA"],\n  ["8 s", "8 mA"],', ""))
    command = ["loop", str(short), "--device", "unix", "--free-running", "--json"]
    assert main(command) == 0
    device = json.loads(capsys.readouterr().out)["device"]
    # By the clock: 100 ticks a second, some of them late on a busy machine.
    assert 60 < device["ticks_per_s"] < 103
    assert main(["loop", str(short), "--device", "model", "--free-running"]) == 2
    assert "no clock of its own" in capsys.readouterr().err
