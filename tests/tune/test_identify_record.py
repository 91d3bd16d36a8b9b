"""Step records: the forms that loggers write, ambiguous headers, bad rows."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from host_sim.errors import InputError
from host_sim.tune.record import read_record
from host_sim.tune.record_columns import NOTHING_NAMED, Named, read_heading

ROWS = 24
TIMES_S = [0.1 * k for k in range(ROWS)]
DRIVES = [20.0 if k < 8 else 30.0 for k in range(ROWS)]
BARS = [2.0 + 0.01 * k for k in range(ROWS)]


def text(
    header="time [s],drive [%],pressure [bar gauge]",
    separator=",",
    mark=".",
    time=lambda second: f"{second:.3f}",
    drive=lambda percent: f"{percent:g}",
    pressure=lambda bar: f"{bar:.4f}",
    before="",
    rows=ROWS,
):
    lines = [header.replace(",", separator)]
    for cells in list(zip(TIMES_S, DRIVES, BARS, strict=True))[:rows]:
        made = (time(cells[0]), drive(cells[1]), pressure(cells[2]))
        lines.append(separator.join(cell.replace(".", mark) for cell in made))
    return before + "\n".join(lines) + "\n"


@pytest.fixture
def read(tmp_path):
    def from_text(content, named=NOTHING_NAMED, encoding="utf-8"):
        path = tmp_path / "step.csv"
        path.write_bytes(content.encode(encoding))
        return read_record(path, named)

    return from_text


def clock(second):
    return f"2024-03-01 10:00:{second:06.3f}"


FORMS = {
    "plain": text(),
    "semicolons and decimal commas": text(separator=";", mark=","),
    "tabs, milliseconds, kPa": text(
        "t (ms)\tvalve opening (%)\tp (kPa gauge)",
        "\t",
        time=lambda s: f"{1000 * s:.0f}",
        pressure=lambda bar: f"{100 * bar:.2f}",
    ),
    "suffixes": text(
        "time_s,drive_percent,load_pa",
        pressure=lambda bar: f"{101_325 + 1e5 * bar:.0f}",
    ),
    "a share": text("Time_s,Drive [-],p_bar_gauge", drive=lambda d: f"{d / 100:.3f}"),
    "slashes": text("Time / s,Drive / %,p / bar gauge"),
    "psi": text(
        "Time (s),Valve (%),Load pressure (psig)",
        pressure=lambda bar: f"{bar * 1e5 / 6894.757293:.5f}",
    ),
    "dates": text("timestamp,drive [%],pressure [bar(g)]", time=clock),
    "dates with commas": text(
        "Date time;drive [%];pressure [bar gauge]", ";", ",", time=clock
    ),
    "dotted dates": text(
        "timestamp;drive [%];pressure [bar gauge]",
        ";",
        time=lambda s: f"01.03.2024 10:00:{s:06.3f}",
    ),
    "time of day": text(
        "clock;drive [%];pressure [bar gauge]", ";", time=lambda s: f"10:00:{s:06.3f}"
    ),
    "units in a second row": text("time,drive,pressure\ns,%,bar gauge"),
    "remarks above": text(before="Logger 7\nStart;2024\n# x,y,z\n\n"),
    "blank lines": text().replace("\n", "\n\n"),
    "byte-order mark": "\ufeff" + text(),
}


@pytest.mark.parametrize("form", FORMS)
def test_record_forms_agree(read, form):
    record = read(FORMS[form])
    assert record.time_s == pytest.approx(TIMES_S, abs=1e-9)
    assert record.input == pytest.approx(np.array(DRIVES) / 100)
    assert record.pressure_pa == pytest.approx(101_325 + 1e5 * np.array(BARS), abs=2.0)
    assert record.signal.kind == "ratio"


def test_record_of_a_current_keeps_milliamperes(read):
    record = read(text("time [s],loop current [mA],pressure [bar absolute]"))
    assert (record.signal.kind, record.signal.unit) == ("current", "mA")
    assert record.input.max() == 30.0
    assert record.pressure_pa[0] == 2e5


def test_record_set_point_in_pressure_is_an_input(read):
    content = text("time [s],set pressure [bar gauge],pressure [bar gauge]")
    record = read(content.replace(",20,", ",2,").replace(",30,", ",3,"))
    assert record.signal.kind == "pressure"
    assert record.input.max() == pytest.approx(401_325)


def test_record_supply_is_found_by_its_name(read):
    lines = text("time [s],drive [%],p [bar gauge],supply pressure [bar gauge]")
    header, *rows = lines.splitlines()
    record = read("\n".join([header, *(f"{row},7.5" for row in rows)]))
    assert record.supply_pa == pytest.approx(np.full(ROWS, 851_325.0))
    assert record.pressure_name == "p [bar gauge]"


def test_record_named_columns_decide_and_may_bring_units(read):
    header = "time,drive,p1 [bar],p2 [bar gauge]"
    rows = text().splitlines()[1:]
    content = "\n".join([header, *(f"{row},5" for row in rows)])
    named = Named("time [s]", "drive [%]", "p1 [bar gauge]")
    record = read(content, named)
    assert record.pressure_pa[0] == pytest.approx(301_325)
    for written in ("P2 [bar gauge]", "p2"):
        record = read(content, Named("time [s]", "drive [%]", written))
        assert record.pressure_pa[0] == pytest.approx(601_325)


@given(
    st.lists(
        st.tuples(st.integers(1, 500), st.integers(0, 1000), st.integers(0, 6000)),
        min_size=20,
        max_size=40,
    ),
    st.sampled_from([(",", "."), (";", ","), (";", "."), ("\t", ",")]),
)
def test_record_round_trip(tmp_path_factory, rows, form):
    separator, mark = form
    path = tmp_path_factory.mktemp("csv") / "step.csv"
    lines = [separator.join(("time [s]", "drive [%]", "pressure [mbar gauge]"))]
    clock_ms, times_ms = 0, []
    for step_ms, permille, mbar in rows:
        clock_ms += step_ms
        times_ms.append(clock_ms)
        cells = (f"{clock_ms / 1e3:.3f}", f"{permille / 10:.1f}", f"{mbar}")
        lines.append(separator.join(cells).replace(".", mark))
    path.write_text("\n".join(lines), encoding="utf-8")
    record = read_record(path)
    expected_s = [(time_ms - times_ms[0]) / 1e3 for time_ms in times_ms]
    assert record.time_s == pytest.approx(expected_s, abs=1e-9)
    assert record.input == pytest.approx([row[1] / 1e3 for row in rows])
    assert record.pressure_pa == pytest.approx([101_325 + 100 * r[2] for r in rows])


def test_record_notes_tell_rate_jitter_gaps_and_dropped_rows(read):
    lines = text(rows=ROWS).splitlines()
    lines[5] = lines[5].replace("0.400", "0.420")
    lines[10] = "0.900,30,"
    lines[11] = "1.000,30,NaN"
    del lines[14:20]
    notes = read("\n".join([*lines, *(f"{3 + k / 10},30,2.3" for k in range(9))])).notes
    assert "every 0.1 s, off by up to 0.2 s" in notes[0]
    assert notes[1].startswith("gap of 0.7 s from 1.2 s on")
    assert notes[-1] == "2 rows with an empty cell were left out"


@pytest.mark.parametrize(
    ("heading", "unit"),
    [
        ("time [s]", "s"),
        ("pressure (bar (g))", "bar gauge"),
        ("pressure [bar g]", "bar gauge"),
        ("p [BAR(abs)]", "bar absolute"),
        ("p_kPa_a", "kPa absolute"),
        ("valve a", ""),
        ("pressure 2", ""),
        ("valve %", "%"),
        ("flow [dm3/(s.bar)]", "dm3/(s.bar)"),
        ("drive [1]", "dimensionless"),
        ("load_pressure_kPa", "kPa"),
        ("tick", ""),
        ("Load Pressure in bar gauge", "bar gauge"),
    ],
)
def test_heading_units(heading, unit):
    assert read_heading(0, heading).unit == unit


GOOD = text()
REFUSALS = {
    "empty": ("", ["no line of two columns"]),
    "one column": ("time [s]\n1\n2\n", ["no line of two columns"]),
    "too few": (text(rows=19), ["19 rows", "at least 20", "record longer"]),
    "no time": (
        text("tick,drive [%],pressure [bar gauge]"),
        ["no column of time", "'time [s]'", "--time"],
    ),
    "time without unit": (
        text("time,drive [%],pressure [bar gauge]"),
        ["row 2", "neither a unit in the header nor a date", "--time"],
    ),
    "input without unit": (
        text("time [s],drive,pressure [bar gauge]"),
        ["no column of input with a unit", "'drive [%]'"],
    ),
    "pressure without unit": (
        text("time [s],drive [%],pressure"),
        ["no column of pressure with a unit", "'pressure [bar gauge]'"],
    ),
    "neither gauge nor absolute": (
        text("time [s],drive [%],pressure [bar]"),
        ["neither gauge nor absolute", "--pressure 'pressure [bar gauge]'"],
    ),
    "two pressures": (
        "time [s],drive [%],p1 [bar gauge],p2 [bar gauge]\n0,1,2,3\n",
        ["2 columns may be the pressure: 'p1 [bar gauge]'", "--pressure"],
    ),
    "two inputs": (
        "time [s],drive [%],current [mA],p [bar gauge]\n0,1,2,3\n",
        ["2 columns may be the input", "--input"],
    ),
    "wrong unit": (text("time [s],drive [V],p [bar gauge]"), ["no column of input"]),
    "repeated time": (GOOD + "2.3,30,2\n", ["row 26", "not after", "sort"]),
    "infinite": (GOOD + "9,inf,2\n", ["row 26", "not a finite number"]),
    "word": (GOOD + "9,30,high\n", ["row 26", "'high'", "mend the cell"]),
    "below vacuum": (GOOD + "9,30,-2\n", ["row 26", "below vacuum", "gauge or"]),
    "too many cells": (GOOD + "9,30,2,1\n", ["row 26", "header's 3", "semicolons"]),
}


@pytest.mark.parametrize("name", REFUSALS)
def test_record_refusals_are_one_line_with_the_remedy(read, name):
    content, parts = REFUSALS[name]
    with pytest.raises(InputError) as caught:
        read(content)
    message = str(caught.value)
    assert "\n" not in message
    assert "step.csv" in message
    for part in parts:
        assert part in message, message


@pytest.mark.parametrize(
    ("named", "words"),
    [
        (Named(pressure="p9"), "no such column; name one of 'time [s]'"),
        (Named(pressure="drive [%]"), "missing or does not fit the pressure"),
        (Named(input="time [s]"), "does not fit the input"),
        (Named(pressure="pressure [bar]"), "neither gauge nor absolute"),
    ],
)
def test_record_named_columns_are_refused_too(read, named, words):
    with pytest.raises(InputError) as caught:
        read(GOOD, named)
    assert words in str(caught.value)


def test_record_missing_file(tmp_path):
    with pytest.raises(InputError, match=r"lost\.csv: no such file; check"):
        read_record(tmp_path / "lost.csv")
