"""Recorded commands: the forms that loggers write, and bad rows."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from host_sim.errors import InputError
from host_sim.scenario.load import shipped_scenario_path
from host_sim.scenario.recording import read_recording


@pytest.fixture
def read(tmp_path):
    def from_text(text, encoding="utf-8"):
        path = tmp_path / "command.csv"
        path.write_bytes(text.encode(encoding))
        return read_recording(path)

    return from_text


@pytest.mark.parametrize(
    "text",
    [
        "time [s],current [mA]\n0,4\n0.1,12.5\n",
        "time [s];current [mA]\n0;4\n0,1;12,5\n",
        "t (ms)\tI (mA)\n0\t4\n100\t12.5\n",
        "t_ms;current_A\n0;0,004\n100;0,0125\n",
        "Time_s,Current_mA\r\n0,4\r\n0.1,12.5\r\n",
        "no,time [s],current [mA],remark\n1,0,4,a\n2,0.1,12.5,b\n",
        "current [mA];time [s];\n4;0;\n12,5;0,1;\n",
        "\n\ntime [s];loop current [mA]\n\n5;4\n\n5,1;12,5\n\n",
        "timestamp;current [mA]\n2024-03-01 10:00:00,000;4\n"
        "2024-03-01 10:00:00,100;12,5\n",
        "timestamp,command [mA]\n2024-03-01T10:00:00.000Z,4\n"
        "2024-03-01T10:00:00.100Z,12.5\n",
    ],
)
def test_recording_forms_agree(read, text):
    profile = read(text)
    assert profile.times_s == pytest.approx((0.0, 0.1))
    assert profile.currents_ma == pytest.approx((4.0, 12.5))


def test_recording_byte_order_mark_is_no_part_of_the_header(read):
    profile = read("time [s];current [mA]\n0;4\n", encoding="utf-8-sig")
    assert profile.currents_ma == (4.0,)


@given(
    st.lists(
        st.tuples(st.integers(1, 500), st.integers(0, 25_000)), min_size=1, max_size=30
    ),
    st.sampled_from([(",", "."), (";", ","), (";", "."), ("\t", ",")]),
)
def test_recording_round_trip(tmp_path_factory, rows, form):
    separator, mark = form
    path = tmp_path_factory.mktemp("csv") / "command.csv"
    lines = [f"time [s]{separator}current [mA]"]
    clock_ms, times_ms = 0, []
    for step_ms, current_ua in rows:
        clock_ms += step_ms
        times_ms.append(clock_ms)
        cells = (f"{clock_ms / 1e3:.3f}", f"{current_ua / 1e3:.3f}")
        lines.append(separator.join(cells).replace(".", mark))
    path.write_text("\n".join(lines), encoding="utf-8")
    profile = read_recording(path)
    expected_s = [(time_ms - times_ms[0]) / 1e3 for time_ms in times_ms]
    assert profile.times_s == pytest.approx(expected_s, abs=1e-9)
    assert profile.currents_ma == pytest.approx([ua / 1e3 for _, ua in rows])


def test_recording_notes_tell_start_rate_jitter_and_gaps(read):
    times = [10.0, 10.1, 10.21, 10.3, 10.4, 12.4, 12.5]
    rows = "".join(f"{time:.2f},8\n" for time in times)
    notes = read("time [s],current [mA]\n" + rows).notes
    assert "7 rows" in notes[0]
    assert "at 10 s" in notes[0]
    assert "interval of 0.1 s, off by up to 0.01 s" in notes[1]
    assert notes[2:] == ("gap of 2 s from 0.4 s on: the last current is held",)


def test_recording_shipped_has_jitter_and_one_gap():
    profile = read_recording(shipped_scenario_path().parent / "recorded_command.csv")
    assert sum(note.startswith("gap") for note in profile.notes) == 1
    assert profile.times_s[0] == 0.0
    assert all(3.9 < current_ma < 20.0 for current_ma in profile.currents_ma)


GOOD = "time [s];current [mA]\n0;4\n0,1;5\n"


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("", ["empty file", "give a header"]),
        ("\n \n", ["empty file"]),
        ("time [s];current [mA]\n", ["no row below the header", "give rows"]),
        (GOOD + "0,1;6\n", ["row 4 = '0,1'", "not after the row before", "sort"]),
        (GOOD + "0,05;6\n", ["row 4 = '0,05'", "not after", "sort"]),
        (GOOD + "0,2;nan\n", ["row 4, current", "not a finite number"]),
        (GOOD + "inf;5\n", ["row 4, time", "not a finite number"]),
        (GOOD + "0,2;\n", ["row 4: no current", "drop the row"]),
        (GOOD + "0,2\n", ["row 4 = '0,2'", "too short", "complete the row"]),
        (GOOD + "0,2;x\n", ["row 4, current", "does not begin with a number"]),
        (GOOD + "0,2;-1\n", ["row 4 = '-1'", "0 ... 25 mA", "unit in the header"]),
        (GOOD + "0,2;4000\n", ["row 4 = '4000'", "0 ... 25 mA"]),
        (
            "time [s],current [mA]\n0,4\n0,1,5,2\n",
            ["row 3", "header's 2", "semicolons"],
        ),
        ("current [mA]\n4\n", ["row 1", "no column of time", "'time [s]'"]),
        ("time [s]\n4\n", ["row 1", "no column of current", "'current [mA]'"]),
        ("time [s],current\n0,4\n", ["row 1 = 'current'", "no unit", "current [mA]"]),
        ("time [s],current [V]\n0,4\n", ["row 1", "wrong dimension", "'12 mA'"]),
        ("time [bar],current [mA]\n0,4\n", ["row 1", "wrong dimension for a time"]),
        ("time,current [mA]\n0,4\n", ["row 2 = '0'", "neither a unit", "'time [s]'"]),
    ],
)
def test_recording_refusals_name_the_row(read, text, parts):
    with pytest.raises(InputError) as caught:
        read(text)
    message = str(caught.value)
    assert "\n" not in message
    assert "command.csv" in message
    for part in parts:
        assert part in message, message


def test_recording_missing_file(tmp_path):
    with pytest.raises(InputError, match=r"lost\.csv: no such file; check"):
        read_recording(tmp_path / "lost.csv")
