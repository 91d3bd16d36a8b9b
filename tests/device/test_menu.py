"""Keys and display: everything is reached, nothing illegal is entered, all is shown."""

import contextlib
import io
import os
from array import array
from fractions import Fraction

import console_pilot
import menu_walk
import pytest
from hypothesis import given
from hypothesis import strategies as st
from menu_walk import BOTH, LESS, MORE, SET, Person
from on_micropython import run_unix
from required import require

from firmware_model.device import menu
from firmware_model.device.adjust_table import ADJUSTMENTS, CHOICE, HEADER, KIND, LABEL
from firmware_model.device.keys import HOLD, HOLD_BOTH, Keys
from firmware_model.device.layout import DEVICE_PARAMETERS
from firmware_model.device.menu import LEAVE_AFTER, LOCK_AFTER
from firmware_model.device.store import first_illegal
from firmware_model.law.layout import ORDERED
from host_sim.prove.engines import ENGINES

SLOW = os.environ.get("HYPOTHESIS_PROFILE") in ("ci", "deep")
PRESSES = 100_000 if SLOW else 4_000
UNIX = next(e for e in ENGINES if e.name == "MicroPython unix, bytecode")
NAMES = [row[0] for row in DEVICE_PARAMETERS]
PAIRS = [(NAMES.index(low), NAMES.index(high)) for low, high in ORDERED]
LOCKED = NAMES.index("KEY_LOCK")


def reach(person, label):
    """Go to an item from the readout, by keys alone."""
    person.press(SET)
    for _ in range(len(person.menu.items)):
        if person.lines[0].rstrip() == label:
            return
        person.press(MORE)
    raise AssertionError(label)


def type_in(person, wanted):
    """Edit the item that is shown until it reads a number, and take it."""
    person.press(SET)
    editor = person.menu.editor
    while editor.power != 4:
        person.press(SET)
    for _ in range(11):
        for _ in range(40):
            left = wanted - now(editor)
            step = Fraction(10) ** editor.power
            if abs(left) < step:
                break
            person.press(MORE if left > 0 else LESS)
        if now(editor) == wanted:
            break
        person.press(SET)
    person.hold()


def now(editor):
    digits, exponent = editor.number
    return Fraction(digits) * Fraction(10) ** exponent


def told(person, header):
    return person.pilot.say(f"{header}?")


@pytest.mark.parametrize("row", ADJUSTMENTS, ids=lambda row: row[LABEL])
def test_menu_reaches_and_shows_every_setting(row):
    person = Person()
    reach(person, row[LABEL])
    shown = person.lines[1].split()[-1]
    answer = told(person, row[HEADER])
    assert shown == answer or abs(Fraction(shown) - Fraction(answer)) <= (
        abs(Fraction(answer)) / 1_000
    )


@given(place=st.integers(0, len(ADJUSTMENTS) - 1), seed=st.integers(0, 10**6))
def test_menu_sets_what_a_person_enters(place, seed):
    row, person = ADJUSTMENTS[place], Person()
    if row[HEADER] == "SYSTem:KEYS:LOCK":
        return
    header = row[HEADER]
    reach(person, row[LABEL])
    if row[KIND] == CHOICE:
        before = told(person, header)
        person.press(SET)
        person.press(MORE)
        wanted = person.lines[1].strip()
        assert told(person, header) == before
        person.hold()
        assert told(person, header) == wanted != before
        return
    low, high = (
        Fraction(person.pilot.say(f"{header}? {end}")) for end in ("MIN", "MAX")
    )
    low, high = max(low, Fraction(-90)), min(high, Fraction(90))
    wanted = low + (high - low) * Fraction(seed, 10**6)
    wanted = Fraction(round(wanted * 1_000), 1_000)
    type_in(person, wanted)
    assert now(person.menu.editor) == wanted
    if person.lines[1].startswith("TAKEN"):
        kept = Fraction(told(person, header))
        # One word, or one in a mantissa of 14 bits; lags are kept as their share.
        assert abs(kept - wanted) <= max(Fraction(1, 2), abs(wanted) / 100)
    else:
        assert person.lines[1].split()[0] in ("OUT", "CONFLICT")


def test_menu_number_stays_within_its_ends():
    person = Person()
    reach(person, "LEAST OUTPUT")
    person.press(SET)
    for _ in range(12):
        person.press(LESS, 60)
    assert now(person.menu.editor) == -100
    for _ in range(40):
        person.press(MORE, 200)
    assert now(person.menu.editor) == 100


def test_menu_refuses_a_conflict_and_changes_nothing():
    person = Person()
    person.pilot.console.is_protected = False
    person.pilot.say("OUTP:HIGH 40")
    reach(person, "LEAST OUTPUT")
    before = array("i", person.pilot.device.params)
    type_in(person, Fraction(60))
    assert person.lines[1].startswith("CONFLICT")
    assert person.pilot.device.params == before


def test_menu_leaves_editing_alone_after_a_while_and_changes_nothing():
    person = Person()
    reach(person, "GAIN P")
    person.press(SET)
    person.press(MORE)
    before = array("i", person.pilot.device.params)
    person.wait(LEAVE_AFTER + 20)
    assert person.menu.page == 0
    assert person.pilot.device.params == before


def test_menu_mode_and_manual_output():
    person = Person()
    reach(person, "MANUAL OUTPUT")
    type_in(person, Fraction(5))
    assert person.lines[1].startswith("NOT IN MANUAL")
    person.wait(LEAVE_AFTER + 20)
    reach(person, "MODE") if person.menu.place else person.press(SET)
    while person.lines[0].rstrip() != "MODE":
        person.press(LESS)
    person.press(SET)
    person.press(MORE)
    person.hold()
    assert person.pilot.say("OUTP:MODE?") == "MANUAL"
    person.pilot.tick(3)
    person.press(MORE)
    type_in(person, Fraction("12.5"))
    person.pilot.tick(2)
    assert person.pilot.say("OUTP?") == "12.50"


def test_menu_shows_a_fault_and_confirms_it():
    person = Person()
    pilot = person.pilot
    pilot.device.params[NAMES.index("DITHER_TICKS")] ^= 1
    pilot.tick(240)
    person.wait(100)
    assert person.lines[0].startswith("FAULT")
    assert person.lines[1] == "PARAMETERS     !"
    pilot.device.params[NAMES.index("DITHER_TICKS")] ^= 1
    pilot.tick(240)
    assert pilot.say("SYST:FAUL?") == '"PARAMETERS"'
    person.hold()
    pilot.tick(3)
    assert pilot.say("SYST:FAUL?") == '""'


def test_menu_first_step_is_a_hundredth_of_the_number():
    person = Person()
    for label, step in (("LEAST OUTPUT", "1"), ("GAIN P", "0.01"), ("DEADBAND", "1")):
        reach(person, label)
        person.press(SET)
        assert person.menu.editor.step_text() == step
        person.wait(LEAVE_AFTER + 20)
        person.menu.place = 0


def test_menu_lock_put_on_while_editing_stops_the_change():
    person = Person()
    reach(person, "GAIN P")
    person.press(SET)
    person.press(MORE)
    person.pilot.device.change(((LOCKED, 1),))
    before = array("i", person.pilot.device.params)
    person.hold()
    assert person.lines[1].startswith("KEYS LOCKED")
    assert person.pilot.device.params == before


def test_menu_shows_a_fault_that_still_counts():
    person = Person()
    state = person.pilot.device.state
    state[49], state[50] = 1 << 6, 3
    person.menu.draw()
    assert person.lines[1] == "OUTPUT STUCK   !"


def test_menu_saves_and_marks_what_is_unsaved():
    person = Person()
    reach(person, "DEADBAND")
    type_in(person, Fraction(2))
    person.hold()
    person.wait(100)
    assert person.lines[0].startswith("AUTO*")
    reach(person, "SAVE")
    assert person.lines[1].strip() == "UNSAVED"
    person.press(SET)
    assert person.lines[1].strip() == "DONE"
    assert not person.pilot.device.unsaved


def test_menu_locked_keys_show_and_change_nothing():
    person = Person()
    device = person.pilot.device
    device.change(((LOCKED, 1),))
    before, wish = array("i", device.params), device.state[43]
    for item in range(len(person.menu.items)):
        person.press(SET)
        person.press(SET)
        assert person.lines[1].startswith("KEYS LOCKED"), item
        person.hold()
        person.press(SET)
        person.press(MORE)
        person.hold()
    assert (device.params, device.state[43]) == (before, wish)
    person.press(BOTH, HOLD_BOTH + 10)
    reach(person, "GAIN P")
    type_in(person, Fraction(3))
    assert told(person, "SOUR:PRES:GAIN:PROP") == "3"
    person.hold()
    person.wait(LOCK_AFTER + 20)
    person.press(SET)
    person.press(SET)
    assert person.lines[1].startswith("KEYS LOCKED")


@pytest.mark.parametrize("seed", [1, 2])
def test_menu_random_keys_never_leave_the_rules(seed):
    person, seen = menu_walk.walk(seed, PRESSES // 2)
    device = person.pilot.device
    assert first_illegal(device.params, DEVICE_PARAMETERS, PAIRS) == -1
    for shown in seen:
        assert len(shown) == 33
        assert all(32 <= ord(letter) < 127 for letter in shown)
    # It got about: many items, editing, refusals, and settings taken.
    assert len({shown[:16] for shown in seen}) > 15
    assert any("TAKEN" in shown for shown in seen)


def test_menu_on_micropython_shows_the_same_screens():
    require(UNIX.missing(), UNIX.remedy)
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        menu_walk.main(9, 400)
    script = "import menu_walk; menu_walk.main(9, 400)"
    assert run_unix(script, menu_walk, console_pilot) == out.getvalue()


def test_keys_need_two_looks_and_tell_a_press_from_a_hold():
    keys = Keys()
    assert [keys.take(level) for level in (2, 0, 2, 0)] == [0, 0, 0, 0]
    events = [keys.take(4) for _ in range(10)] + [keys.take(0) for _ in range(3)]
    assert [event for event in events if event] == [3]
    events = [keys.take(4) for _ in range(HOLD + 30)] + [keys.take(0) for _ in range(3)]
    assert [event for event in events if event] == [4]
    events = [keys.take(1) for _ in range(51)]
    assert events.count(1) == 1 + (51 - 2 - 25) // 5 + 1


def test_menu_constants_are_the_layouts():
    from firmware_model.device.layout import DEVICE_STATE

    words = {row[0]: slot for slot, row in enumerate(DEVICE_STATE)}
    for name in (
        "CURRENT",
        "SETPOINT",
        "PRESSURE",
        "SUPPLY",
        "ACTIVE",
        "HELD",
        "FIRST",
    ):
        assert getattr(menu, "_" + name) == words[name]
    assert menu._KEY_LOCK == LOCKED
