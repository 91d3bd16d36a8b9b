"""Recorded responses: the pressure column, and steps found in a noisy current."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from host_sim.errors import InputError
from host_sim.scenario.units import STANDARD
from host_sim.size.savings_record import find_steps, read_pressure_pa, read_record

RANGE_PA = (101_325.0, 701_325.0)


@pytest.fixture
def written(tmp_path):
    def write(text):
        path = tmp_path / "response.csv"
        path.write_text(text, encoding="utf-8")
        return path

    return write


@pytest.mark.parametrize(
    "text",
    [
        "time [s],current [mA],pressure [bar gauge]\n0,4,0\n0.1,12,1.5\n",
        "time [s];current [mA];pressure [bar gauge]\n0;4;0\n0,1;12;1,5\n",
        "p [kPa absolute]\ttime [s]\tcurrent [mA]\n101.325\t0\t4\n251.325\t1\t12",
        "\ntime_s,current_mA,load_pa,remark\n\n0,4,101325,a\n\n1,12,251325,b\n",
    ],
)
def test_record_pressure_forms_agree(written, text):
    pressure_pa, _ = read_pressure_pa(written(text), STANDARD)
    assert pressure_pa == pytest.approx([101_325.0, 251_325.0])


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("time [s],current [mA]\n0,4\n", "no column of pressure"),
        ("time [s],current [mA],pressure\n0,4,1\n", "no column of pressure"),
        ("time [s],current [mA],pressure [bar]\n0,4,1\n", "neither gauge nor absolute"),
        ("time [s],current [mA],p [bar gauge]\n0,4,\n", "row 2, pressure: no pressure"),
        ("time [s],current [mA],p [bar gauge]\n0,4\n", "row 2, pressure: no pressure"),
        ("time [s],current [mA],p [bar gauge]\n0,4,x\n", "row 2, pressure"),
        ("time [s],current [mA],p [bar gauge]\n0,4,-2\n", "below vacuum"),
        ("time [s],pressure [bar gauge]\n0,4\n", "no column of current"),
    ],
)
def test_record_refused_in_one_line(written, text, words):
    with pytest.raises(InputError, match=words) as caught:
        read_record(written(text), RANGE_PA, STANDARD)
    assert "\n" not in str(caught.value)


@given(
    levels=st.lists(st.integers(0, 20), min_size=1, max_size=6),
    rows=st.integers(40, 60),
    ramp=st.integers(1, 10),
    seed=st.integers(0, 999),
)
def test_record_steps_are_found_under_noise_and_ramps(levels, rows, ramp, seed):
    # Levels last 30 rows or more: within 20 rows two ramps count as one.
    levels = [0.05 * level for level in levels]
    wanted = [
        (rows * k, before, after)
        for k, (before, after) in enumerate(pairwise(levels), 1)
        if before != after
    ]
    setpoint = np.repeat(levels, rows)
    for row, before, after in wanted:
        setpoint[row : row + ramp] = before + (after - before) * np.linspace(
            1 / ramp, 1, ramp
        )
    noise = np.random.default_rng(seed).uniform(-1, 1, setpoint.size)
    found = find_steps(setpoint + 0.002 * noise)
    for (row, *ends), (true_row, *true_ends) in zip(found, wanted, strict=True):
        # The start of a slow ramp hides in the deadband.
        assert 0 <= row - true_row <= (3 if ramp > 1 else 0)
        assert ends == pytest.approx(true_ends, abs=0.007)


def test_record_steps_too_small_or_too_short_are_left_out():
    small = np.array([0.5] * 30 + [0.508] * 30)
    short = np.array([0.5] * 30 + [0.7] * 5 + [0.5] * 30)
    assert find_steps(small) == []
    assert [row for row, _, _ in find_steps(short)] == [35]


def test_record_setpoint_may_fall_with_the_current(written):
    rows = [(0.1 * k, 4 if k < 12 else 12) for k in range(30)]
    text = "time [s],current [mA],load_pa\n" + "".join(
        f"{time},{ma},3e5\n" for time, ma in rows
    )
    record = read_record(written(text), (6e5, 2e5), STANDARD)
    (step,) = record[2]
    assert step == pytest.approx((1.2, 6e5, 4e5))
    assert any("30 rows" in note for note in record[4])
