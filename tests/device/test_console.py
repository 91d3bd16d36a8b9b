"""The console against the facts of IEEE 488.2 and SCPI-99, and its own promises.

Facts: REFERENCES 13. Marked there as found in sources: the queue (first in, first out;
overflow puts -350 in its last place; empty reads 0; *CLS clears), the classes of
numbers and their bits in the event register (-1xx bit 5, -2xx bit 4, -3xx bit 3, -4xx
bit 2), -102, -108 (*ESE 0,1), -109 (*ESE), -112 (more than 12 characters), -113 (*XYZ),
-131. From memory: -121, -138, -203, -221, -222, -224, -363, the mandatory common
commands, long and short forms, paths. The standards were not opened.
"""

from fractions import Fraction

import pytest
from console_pilot import IDENTITY, ConsolePilot
from hypothesis import given
from hypothesis import strategies as st

from firmware_model.device import adjust
from firmware_model.device.adjust_table import (
    ADJUSTMENTS,
    CHOICE,
    HEADER,
    KIND,
    LINEAR,
    WORDS,
)
from firmware_model.device.console_commands import COMMANDS, COMMON
from firmware_model.device.scpi_text import short_form

ROOTS = {"SOURce", "SENSe", "OUTPut", "CALibration", "SYSTem", "STATus", "MEMory"}
MANDATORY = [
    "*CLS",
    "*ESE",
    "*ESE?",
    "*ESR?",
    "*IDN?",
    "*OPC",
    "*OPC?",
    "*RST",
    "*SRE",
    "*SRE?",
    "*STB?",
    "*TST?",
    "*WAI",
]


@pytest.fixture
def pilot():
    made = ConsolePilot()
    made.tick(80)
    assert made.say("SYST:COND?") == "RUN"
    made.say("*CLS")
    return made


@pytest.fixture
def open_pilot(pilot):
    pilot.say("SYST:PROT OFF")
    return pilot


def error_of(pilot, line):
    """Send a line and take the number of the error that it queued."""
    pilot.say(line)
    return int(pilot.say("SYST:ERR?").split(",")[0])


def test_console_identity_has_four_fields_and_at_most_72_characters(pilot):
    answer = pilot.say("*IDN?")
    assert answer == IDENTITY
    assert len(answer.split(",")) == 4
    assert len(answer) <= 72


@pytest.mark.parametrize("command", MANDATORY)
def test_console_knows_every_mandatory_command(open_pilot, command):
    argument = " 1" if command in ("*ESE", "*SRE") else ""
    answer = open_pilot.say(command + argument)
    assert bool(answer) == command.endswith("?")
    assert open_pilot.say("SYST:ERR?") == '0,"No error"'


@pytest.mark.parametrize(
    ("line", "number", "bit"),
    [
        ("*XYZ", -113, 5),
        ("*ESE", -109, 5),
        ("*ESE 0,1", -108, 5),
        ("SENSing:PRES?", -113, 5),
        ("SENSEPRESSURES?", -112, 5),
        ("SENS::PRES?", -102, 5),
        ("SENS:PRES:FILT 1 MA", -131, 5),
        ("SENS:PRES:LOW 1 MA", -138, 5),
        ("SENS:PRES:FILT x", -121, 5),
        ("SENS:PRES:FILT 1e99", -121, 5),
        ("SENS:PRES\x01?", -101, 5),
        ("SENS2:PRES?", -114, 5),
        ("OUTP:LOW 200", -222, 4),
        ("OUTP:SAFE SOMETIMES", -224, 4),
        ("OUTP:HIGH -50;LOW 50", -221, 4),
        ("OUTP:LEV 3", -221, 4),
        ("SOUR:PRES:REL:ACC", -221, 4),
        ("S" * 300, -363, 3),
    ],
)
def test_console_refuses_with_the_standards_number(open_pilot, line, number, bit):
    open_pilot.say("*ESR?")
    before = open_pilot.words()[1:]
    assert error_of(open_pilot, line) == number
    assert int(open_pilot.say("*ESR?")) == 1 << bit
    assert open_pilot.words()[1:] == before


def test_console_error_says_the_range(open_pilot):
    open_pilot.say("OUTP:LOW 200")
    assert open_pilot.say("SYST:ERR?") == '-222,"Data out of range;-100 ... 100 PCT"'


def test_console_error_text_stays_one_quoted_string(open_pilot):
    open_pilot.say('OUTP:MODE "HOLD"')
    assert open_pilot.say("SYST:ERR?").count('"') == 2
    open_pilot.say("OUTP:MODE " + "A" * 240)
    assert len(open_pilot.say("SYST:ERR?")) == len('-224,""') + 255


def test_console_rounds_to_nearest(open_pilot):
    open_pilot.say("OUTP:MODE MAN;LEV -0.001")
    assert open_pilot.device.state[4] == 0
    open_pilot.say("OUTP:LEV 0.003")
    assert open_pilot.device.state[4] == 1
    assert open_pilot.say("*ESE 1.9;*ESE?") == "2"


def test_console_manual_output_knows_its_ends(open_pilot):
    open_pilot.say("OUTP:LOW -50;HIGH 40;MODE MAN")
    told = [open_pilot.say(f"OUTP:LEV {end};LEV?") for end in ("MIN", "MAX", "DEF")]
    assert told == ["-50.00", "40.00", "0.00"]


def test_console_queue_overflows_in_its_last_place_and_is_cleared(pilot):
    for _ in range(20):
        pilot.say("*XYZ")
    count = int(pilot.say("SYST:ERR:COUN?"))
    numbers = [int(pilot.say("SYST:ERR?").split(",")[0]) for _ in range(count)]
    assert numbers == [-113] * (count - 1) + [-350]
    assert pilot.say("SYST:ERR?") == '0,"No error"'
    pilot.say("*XYZ")
    pilot.say("*CLS")
    assert pilot.say("SYST:ERR?") == '0,"No error"'


def test_console_tells_power_on_once():
    made = ConsolePilot()
    assert int(made.say("*ESR?")) == 128
    assert int(made.say("*ESR?")) == 0


def test_console_status_byte_sums_up(pilot):
    assert pilot.say("*STB?") == "0"
    pilot.say("*ESE 32;*SRE 36")
    pilot.say("*XYZ")
    # Error queue, event summary, master.
    assert int(pilot.say("*STB?")) == 4 + 32 + 64
    pilot.say("SYST:ERR?;*ESR?")
    assert pilot.say("*STB?") == "0"


def test_console_questionable_register_has_the_fault_bits(pilot):
    pilot.device.state[0] = 3_000
    pilot.say("STAT:QUES:ENAB 1")
    pilot.tick(500)
    assert pilot.say("SYST:FAUL?") == '"CURRENT LOW"'
    assert pilot.say("STAT:QUES:COND?") == "1"
    assert int(pilot.say("*STB?")) & 8
    assert pilot.say("STAT:QUES?") == "1"
    assert pilot.say("STAT:QUES:EVEN?") == "0"
    assert pilot.say("SYST:COND?;FAUL:FIRS?") == "FAULT;1"
    assert pilot.say("OUTP:ACT?") == "FAULT"


def test_console_paths_follow_the_standard(open_pilot):
    answer = open_pilot.say(
        "sour:pres:dead 1;dead:hyst 0.5;:SOURCE:PRESSURE:DEAD?;*OPC?;DEAD?"
    )
    assert answer == "1;1;1"
    # One level down from DEADband after HYSTeresis.
    assert error_of(open_pilot, "SOUR:PRES:DEAD:HYST?;DEAD?") == -113


def test_console_executes_a_line_up_to_its_first_error(open_pilot):
    assert open_pilot.say("OUTP:LOW -50;NONSENSE 1;HIGH 50;:OUTP:HIGH?") == ""
    assert open_pilot.say("OUTP:LOW?;HIGH?") == "-50;100"


@pytest.mark.parametrize("row", ADJUSTMENTS, ids=lambda row: row[HEADER])
def test_console_tells_every_setting_in_long_and_short_form(pilot, row):
    short = ":".join(short_form(node) for node in row[HEADER].split(":"))
    long = row[HEADER].upper()
    assert pilot.say(long + "?") == pilot.say(short.lower() + "?") != ""
    low, high = pilot.say(f"{short}? MIN"), pilot.say(f"{short}? MAX")
    default = pilot.say(f"{short}? DEF")
    if row[KIND] == CHOICE:
        assert [low, high] == [row[WORDS][0].upper(), row[WORDS][-1].upper()]
        assert default in [word.upper() for word in row[WORDS]]
    else:
        assert Fraction(low) <= Fraction(default) <= Fraction(high)


@given(place=st.integers(0, len(ADJUSTMENTS) - 1), share=st.integers(0, 1_000))
def test_console_sets_what_it_is_told(place, share):
    pilot, row = ConsolePilot(), ADJUSTMENTS[place]
    pilot.say("SYST:PROT OFF")
    header = row[HEADER]
    if row[KIND] == CHOICE:
        word = row[WORDS][share % len(row[WORDS])]
        pilot.say(f"{header} {short_form(word)}")
        assert pilot.say(f"{header}?") == word.upper()
    elif row[KIND] == LINEAR:
        low, high = (Fraction(pilot.say(f"{header}? {end}")) for end in ("MIN", "MAX"))
        wanted = low + (high - low) * share / 1_000
        pilot.say(f"{header} {float(wanted):.6f}")
        if pilot.say("SYST:ERR?") == '0,"No error"':
            step = max((high - low) / 250, 1)
            assert abs(Fraction(pilot.say(f"{header}?")) - wanted) <= step


def test_console_units_are_converted(open_pilot):
    open_pilot.say("SENS:PRES:FILT 250 ms")
    assert abs(float(open_pilot.say("SENS:PRES:FILT?")) - 0.25) < 1e-4
    open_pilot.say("SENS:CURR:LOW 3500UA")
    assert open_pilot.say("SENS:CURR:LOW?") == "3.5"
    open_pilot.say("SOUR:PRES:RAMP:UP 5 PCT/S;:SOUR:PRES:GAIN:INT 2 /S")
    assert open_pilot.say("SYST:ERR?") == '0,"No error"'


def test_console_protection_is_on_after_power_and_must_be_lifted(pilot):
    before = pilot.words()
    guarded = [row for row in (*COMMANDS, *COMMON) if row[3]]
    for header, setter, *_ in guarded:
        assert setter is not None
        assert error_of(pilot, f"{header} 1") == -203
    for row in ADJUSTMENTS:
        assert error_of(pilot, f"{row[HEADER]} 1") == -203
    assert pilot.words() == before
    pilot.say("SYST:PROT OFF;:OUTP:MODE HOLD")
    assert pilot.say("OUTP:MODE?") == "HOLD"
    pilot.say("SYST:PROT ON")
    assert error_of(pilot, "OUTP:MODE AUT") == -203


def test_console_roots_are_standard_and_headers_unique():
    headers = [row[0] for row in COMMANDS] + [row[HEADER] for row in ADJUSTMENTS]
    assert len({header.upper() for header in headers}) == len(headers)
    for header in headers:
        nodes = header.split(":")
        assert nodes[0] in ROOTS
        assert all(len(node) <= 12 for node in nodes)
        forms = {short_form(node) for node in nodes}
        assert all(2 <= len(form) <= 5 for form in forms), header


def test_console_manual_output(open_pilot):
    open_pilot.say("OUTP:MODE MAN;LEV 12.5")
    open_pilot.tick(2)
    assert open_pilot.say("OUTP?") == "12.50"
    assert error_of(open_pilot, "OUTP:LEV 101") == -222
    open_pilot.say("*RST")
    assert open_pilot.say("OUTP:MODE?") == "AUTOMATIC"


def test_console_calibrates_the_pressure_at_two_points(open_pilot):
    pilot = open_pilot
    pilot.say("OUTP:MODE MAN;LEV 0")
    pilot.tick(2)
    for counts, point, truth in ((2_000, "LOW", 5), (30_000, "HIGH", "0.95e2")):
        pilot.say(f"CAL:PRES:{point} {truth}")
        assert int(pilot.say("STAT:OPER:COND?")) & 1
        pilot.device.state[1] = counts
        pilot.tick(40)
    assert pilot.say("CAL:PRES:LEFT?") == "0,0"
    pilot.say("CAL:PRES:APPL")
    assert pilot.say("SYST:ERR?") == '0,"No error"'
    # Points once applied are gone.
    assert error_of(pilot, "CAL:PRES:APPL") == -221
    for counts, truth in ((2_000, 5), (30_000, 95), (16_000, 50)):
        pilot.device.state[1] = counts
        pilot.tick(3)
        assert abs(float(pilot.say("SENS:PRES?")) - truth) < 0.02


def test_console_refuses_a_calibration_that_cannot_be_right(open_pilot):
    pilot = open_pilot
    before = pilot.words()[0]
    assert error_of(pilot, "CAL:CURR:APPL") == -221
    for point, truth in (("LOW", "4 MA"), ("HIGH", "20 MA")):
        pilot.say(f"CAL:CURR:{point} {truth}")
        pilot.tick(40)
    # The same counts for both.
    assert error_of(pilot, "CAL:CURR:APPL") == -221
    assert error_of(pilot, "CAL:CURR:LOW 2 A") == -222
    assert pilot.words()[0] == before


@pytest.mark.parametrize("ends", [(0, 30_000), (2_000, 32_767)])
def test_console_refuses_a_calibration_at_an_end_of_the_converter(open_pilot, ends):
    pilot = open_pilot
    before = pilot.words()[0]
    pilot.say("OUTP:MODE MAN;LEV 0")
    pilot.tick(2)
    for counts, point, truth in zip(ends, ("LOW", "HIGH"), (5, 95), strict=True):
        pilot.say(f"CAL:PRES:{point} {truth}")
        for _ in range(40):
            pilot.device.state[1] = counts
            pilot.device.tick()
            pilot.console.serve()
    assert pilot.say("CAL:PRES:LEFT?") == "0,0"
    assert error_of(pilot, "CAL:PRES:APPL") == -221
    assert pilot.words()[0] == before


def test_console_streams_signals_and_counts_what_it_drops(pilot):
    pilot.say("SENS:DATA:SIGN PRES,DRIV;EVER 5;STR ON")
    pilot.answers.clear()
    pilot.tick(20)
    lines = b"".join(pilot.answers).decode().splitlines()
    assert len(lines) == 4
    ticks = [int(line[1:].split(",")[0]) for line in lines]
    assert [b - a for a, b in zip(ticks, ticks[1:])] == [5, 5, 5]  # noqa: B905, RUF007
    assert all(line[0] == "~" and line.count(",") == 2 for line in lines)
    for _ in range(20):
        pilot.device.tick()
    pilot.tick(1)
    assert int(pilot.say("SENS:DATA:DROP?")) == 3


def test_console_saves_restores_and_takes_the_factorys(open_pilot):
    pilot = open_pilot
    pilot.say("SOUR:PRES:DEAD 2")
    assert pilot.say("MEM:UNS?") == "1"
    pilot.say("MEM:SAVE;:SOUR:PRES:DEAD 3;:MEM:REST")
    assert pilot.say("SOUR:PRES:DEAD?;:MEM:UNS?") == "2;0"
    pilot.say("MEM:FACT")
    assert pilot.say("SOUR:PRES:DEAD?") == "0"


def test_console_says_when_the_medium_fails(open_pilot, monkeypatch):
    def fails(bank, buffer):
        raise OSError(5)

    monkeypatch.setattr(open_pilot.device.store.banks, "write", fails)
    assert error_of(open_pilot, "MEM:SAVE") == -311


def test_console_raw_words(open_pilot):
    open_pilot.say("MEM:WORD 53,-12000")
    assert open_pilot.say("MEM:WORD? 53") == "-12000"
    assert error_of(open_pilot, "MEM:WORD 53,26000") == -222
    assert error_of(open_pilot, "MEM:WORD 113,0") == -222


def test_console_agrees_with_the_settings_table(pilot):
    number = [0, 0]
    for row in ADJUSTMENTS:
        if row[KIND] != CHOICE:
            adjust.get(pilot.device, row, number)
            told = Fraction(pilot.say(f"{row[HEADER]}?"))
            assert told == Fraction(number[0]) * Fraction(10) ** number[1]


def test_console_without_self_tuning_says_so(open_pilot):
    open_pilot.console.relay = None
    assert error_of(open_pilot, "SOUR:PRES:REL:STAR") == -241


def test_console_runs_a_relay_test_and_takes_its_gains_on_consent(open_pilot):
    pilot = open_pilot
    pilot.say("OUTP:LOW -100;HIGH 100;:SOUR:PRES:REL:SIZE 20;TRAV 90;BAND 1;CYCL 2")
    pilot.say("SOUR:PRES:GAIN:PROP 0.5")
    pilot.tick(400)
    assert pilot.say("SOUR:PRES:REL?") == '"NOT TUNED"'
    pilot.say("SOUR:PRES:REL:STAR")
    assert pilot.say("SYST:ERR?") == '0,"No error"'
    assert int(pilot.say("STAT:OPER:COND?")) & 4_096
    for _ in range(4_000):
        pilot.tick()
        if pilot.say("SOUR:PRES:REL?") == '"DONE"':
            break
    before = pilot.words()[0]
    words = [int(word) for word in pilot.say("SOUR:PRES:REL:PROP?").split(",")]
    assert pilot.words()[0] == before
    pilot.say("SOUR:PRES:REL:ACC")
    taken = pilot.words()[0]
    assert taken != before
    assert [taken[slot] for slot in words[::2]] == words[1::2]
