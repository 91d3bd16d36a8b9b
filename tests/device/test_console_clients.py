"""The console on MicroPython: the same answers as on CPython, and a real client."""

import os
import pty
import random
import subprocess
import time
import tty
from pathlib import Path

import console_pilot
import pytest
from console_lines import drawn_line
from console_pilot import ConsolePilot
from on_micropython import run_unix, run_wasm
from required import require

import firmware_model
from host_sim.prove.engine import lacking, program
from host_sim.prove.engines import ENGINES

UNIX, WASM = (
    next(engine for engine in ENGINES if engine.name == name)
    for name in ("MicroPython unix, bytecode", "MicroPython WebAssembly, 32 bits")
)
TICK_MS = 10
CI = os.environ.get("HYPOTHESIS_PROFILE") in ("ci", "deep")
# 400 lines each, as many as one script holds.
BATCHES = 25 if CI else 4
TALK = """
import console_pilot
pilot = console_pilot.ConsolePilot()
for line in {lines!r}:
    pilot.console.is_protected = False
    print(repr(pilot.say(line)))
    pilot.tick(2)
print(list(pilot.device.params), pilot.console.status.errors)
"""


def said_on_cpython(lines):
    pilot, said = ConsolePilot(), []
    for line in lines:
        pilot.console.is_protected = False
        said.append(repr(pilot.say(line)))
        pilot.tick(2)
    said.append(f"{list(pilot.device.params)} {pilot.console.status.errors}")
    return said


@pytest.mark.parametrize(
    ("engine", "run", "count", "seed"),
    # The heap of the 32-bit build is small, and its collector is off.
    [(UNIX, run_unix, 400, seed) for seed in range(BATCHES)]
    + [(WASM, run_wasm, 20, BATCHES)],
)
def test_console_on_micropython_answers_as_on_cpython(engine, run, count, seed):
    require(engine.missing(), engine.remedy)
    source = random.Random(seed)
    lines = [drawn_line(source) for _ in range(count)]
    # What a blanket exception is called may differ; there must be none.
    said = run(TALK.format(lines=lines), console_pilot).splitlines()
    assert said == said_on_cpython(lines)
    assert "-310" not in said[-1]


@pytest.fixture
def terminal():
    """Serve a console on MicroPython unix behind a pseudo-terminal; its name."""
    require(UNIX.missing(), UNIX.remedy)
    near, far = pty.openpty()
    tty.setraw(far)
    process = subprocess.Popen(
        [program("micropython"), console_pilot.__file__, str(TICK_MS)],
        stdin=near,
        stdout=near,
        env={"MICROPYPATH": str(Path(firmware_model.__file__).parents[1])},
    )
    yield os.ttyname(far)
    process.kill()
    process.wait(10)
    os.close(near)
    os.close(far)


@pytest.fixture
def instrument(terminal):
    """Open the console as PyVISA does: a serial resource, lines with newlines."""
    lost = lacking((), ("pyvisa", "pyvisa_py", "serial"))
    require(lost, "pip install pyvisa-py pyserial")
    import pyvisa

    manager = pyvisa.ResourceManager("@py")
    opened = manager.open_resource(
        f"ASRL{terminal}::INSTR",
        read_termination="\n",
        write_termination="\n",
        timeout=5_000,
    )
    yield opened
    opened.close()
    manager.close()


def wait_for(instrument, query, wanted):
    """Ask until the answer is the one wanted, at most ten seconds."""
    deadline_s = time.monotonic() + 10
    while instrument.query(query) != wanted:
        assert time.monotonic() < deadline_s
        time.sleep(0.05)


def test_console_serves_pyvisa(instrument):
    assert instrument.query("*IDN?") == console_pilot.IDENTITY
    assert instrument.query("SYST:VERS?") == "1999.0"
    deadline_s = time.monotonic() + 5
    while instrument.query("SYST:COND?") != "RUN":
        assert time.monotonic() < deadline_s
    instrument.write("SOUR:PRES:GAIN:PROP 2")
    assert instrument.query("SYST:ERR?").startswith("-203,")
    instrument.write("SYST:PROT OFF;:SOUR:PRES:GAIN:PROP 2;INT 0.5")
    assert instrument.query("SYST:ERR?") == '0,"No error"'
    assert instrument.query("SOUR:PRES:GAIN:PROP?") == "2"
    assert instrument.query_ascii_values("SOUR:PRES:GAIN:INT?")[0] == pytest.approx(
        0.5, rel=1e-4
    )
    instrument.write("OUTP:LOW 500")
    assert instrument.query("SYST:ERR?") == (
        '-222,"Data out of range;-100 ... 100 PCT"'
    )
    # Two points read while the pilot ticks by its own clock.
    instrument.write("OUTP:MODE MAN;LEV 5;:CAL:PRES:LOW 10")
    wait_for(instrument, "CAL:PRES:LEFT?", "0,32")
    instrument.write("OUTP:LEV 5;:CAL:PRES:HIGH 90")
    wait_for(instrument, "CAL:PRES:LEFT?", "0,0")
    first = int(instrument.query("SYST:TICK?"))
    time.sleep(0.3)
    ticks = int(instrument.query("SYST:TICK?")) - first
    assert 10 <= ticks <= 60


def test_console_streams_to_pyvisa(instrument):
    instrument.write("SENS:DATA:SIGN SETP,PRES,OUTP;EVER 2;STR ON")
    lines = [instrument.read() for _ in range(5)]
    instrument.write("SENS:DATA:STR OFF")
    assert all(line.startswith("~") and line.count(",") == 3 for line in lines)
    ticks = [int(line[1:].split(",")[0]) for line in lines]
    assert ticks == sorted(ticks)
    assert all((tick - ticks[0]) % 2 == 0 for tick in ticks)
