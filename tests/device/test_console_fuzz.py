"""Garbage on the console: no crash, and nothing changes that no valid line asked for.

One million lines in the CI profile, random bytes and mutated commands; protection stays
on, so whatever they say, parameters stay as they were, and every word of the state, the
drive among them, is at every tick that of a pilot to whom nobody speaks.
With protection lifted, parameters must stay legal, and the tick must go on.
"""

import os
import random

from console_lines import drawn_line
from console_pilot import ConsolePilot

from firmware_model.device.layout import DEVICE_PARAMETERS, DEVICE_STATE
from firmware_model.device.store import first_illegal
from firmware_model.law.layout import ORDERED

CI = os.environ.get("HYPOTHESIS_PROFILE") in ("ci", "deep")
LINES = 1_000_000 if CI else 15_000
LIFTED = LINES // 10
NAMES = [row[0] for row in DEVICE_PARAMETERS]
PAIRS = [(NAMES.index(low), NAMES.index(high)) for low, high in ORDERED]


def test_console_fuzz_protected_lines_change_nothing():
    source, pilot, silent = random.Random(1), ConsolePilot(), ConsolePilot()
    pilot.tick(80)
    silent.tick(80)
    before, seen, answered = pilot.words(), set(), 0
    for k in range(LINES):
        line = drawn_line(source)
        # Lifting is a valid setting, and the next test's business.
        if b"PROT" not in line.upper():
            answered += bool(pilot.say(line))
            if k % 16 == 0:
                pilot.console.is_protected = True
                pilot.tick()
                silent.tick()
                assert pilot.words() == before
                assert pilot.device.state == silent.device.state
                error = int(pilot.console.status.next_error().split(",")[0])
                pilot.console.status.errors.clear()
                seen.add(error)
    # Garbage next to lines that are right, else little of the console is reached.
    assert answered > LINES // 20
    # Most kinds of mistakes were among them, and none was a crash.
    assert {-101, -102, -113, -121, -203} <= seen
    assert -310 not in seen


def test_console_fuzz_lifted_lines_leave_a_legal_device():
    source, pilot = random.Random(2), ConsolePilot()
    for k in range(LIFTED):
        pilot.console.is_protected = False
        pilot.say(drawn_line(source))
        if k % 8 == 0:
            pilot.tick()
            assert first_illegal(pilot.device.params, DEVICE_PARAMETERS, PAIRS) == -1
            for (name, (low, high), _), word in zip(
                DEVICE_STATE, pilot.device.state, strict=True
            ):
                assert low <= word <= high, name
            errors = pilot.console.status.errors
            assert not [detail for error, detail in errors if error == -310]
            errors.clear()
