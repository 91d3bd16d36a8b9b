"""One cycle's response: time outside the tolerance, and what is comparable."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from savings_cases import STEPS, TOLERANCE_PA, assume, first_order, response

from host_sim.errors import InputError
from host_sim.scenario.units import Basis
from host_sim.size.savings_response import (
    check_comparable,
    recorded_response,
    time_outside_s,
)


@given(
    st.lists(st.floats(-3, 3), min_size=2, max_size=12),
    st.floats(0.01, 2),
    st.integers(0, 99),
)
def test_response_time_outside_agrees_with_dense_sampling(errors, band, seed):
    gaps_s = np.random.default_rng(seed).uniform(0.1, 1.0, len(errors) - 1)
    time_s = np.concatenate(([0.0], np.cumsum(gaps_s)))
    error = np.array(errors)
    middle_s = (np.arange(20_000) + 0.5) / 20_000 * time_s[-1]
    dense = np.abs(np.interp(middle_s, time_s, error)) > band
    outside_s = time_outside_s(time_s, error, band)
    assert outside_s == pytest.approx(
        dense.mean() * time_s[-1], abs=time_s[-1] * 1e-4 * len(errors)
    )


@given(st.floats(0.1, 1.5))
def test_response_first_order_leaves_the_tolerance_for_ln_of_the_ratio(lag_s):
    """``t = lag ln(step / tolerance)``: closed form of a first-order lag."""
    got = response(lag_s)
    wanted_s = [lag_s * np.log(abs(b - a) / TOLERANCE_PA) for _, a, b in STEPS]
    assert got.step_times_s("tolerance") == pytest.approx(wanted_s, rel=1e-3)
    assert got.outside_s == pytest.approx(sum(wanted_s), abs=0.02)


DIFFERENCES = {
    "level": (
        {"steps": ((1.0, 1e5, 3e5), (11.0, 3e5, 2.2e5))},
        "step 2 is 3 -> 2.2 bar absolute at 10 s after the first, and 3 -> 2 bar",
    ),
    "time": (
        {"steps": ((1.0, 1e5, 3e5), (12.0, 3e5, 2e5)), "duration_s": 22.0},
        "step 2 is 3 -> 2 bar absolute at 11 s after the first, and 3 -> 2",
    ),
    "count": ({"steps": STEPS[:1]}, "1 steps, and 2 there"),
    "length": ({"duration_s": 23.0}, "22 s from the first step to the end, and 20 s"),
}


@pytest.mark.parametrize("name", DIFFERENCES)
def test_response_other_command_is_refused_by_its_first_difference(name):
    changes, words = DIFFERENCES[name]
    with pytest.raises(InputError) as caught:
        check_comparable(response(0.5), response(0.5, name="other", **changes))
    assert words in str(caught.value)
    assert "not comparable with lag 0.5 s" in str(caught.value)


def test_response_other_air_is_refused():
    other = replace(response(0.5), basis=Basis(anr_density_kg_m3=1.2))
    with pytest.raises(InputError, match=r"reference_density 1\.2 kg/m3, and 1\.185"):
        check_comparable(response(0.5), other)


def test_response_same_command_a_little_off_is_comparable():
    moved = tuple((at + 5.0, a + 1e3, b + 1e3) for at, a, b in STEPS)
    check_comparable(response(0.5), response(0.4, steps=moved, duration_s=26.0))


def test_response_record_measures_as_the_curve_it_holds(tmp_path):
    time_s, pressure_pa = first_order(0.5)
    path = tmp_path / "response.csv"
    current_ma = np.full_like(time_s, 4.0)
    for start_s, _, to_pa in STEPS:
        current_ma[time_s >= start_s] = 4 + 16 * (to_pa - 1e5) / 4e5
    table = np.column_stack((time_s, current_ma, pressure_pa))
    header = "time [s];current [mA];pressure [Pa absolute]"
    np.savetxt(path, table, "%.12g", ";", header=header, comments="")
    assumed = replace(assume(), recorded_range_pa=(1e5, 5e5))
    got, wanted = recorded_response(path, assumed), response(0.5)
    assert got.step_times_s("settling 2 %") == pytest.approx(
        wanted.step_times_s("settling 2 %"), abs=1e-6
    )
    assert got.outside_s == pytest.approx(wanted.outside_s, abs=0.02)
    assert got.air is None


def test_response_record_needs_its_setpoint_range(tmp_path):
    with pytest.raises(InputError, match=r"assumed\.toml: recorded: missing"):
        recorded_response(tmp_path / "response.csv", assume())


@pytest.mark.parametrize(
    ("rows", "words"),
    [(30, "no step of at least 1 %"), (2, "at least 3 are needed")],
)
def test_response_record_without_a_step_or_samples_is_refused(rows, words, tmp_path):
    path = tmp_path / "response.csv"
    path.write_text(
        "time [s],current [mA],load_pa\n"
        + "".join(f"{0.1 * k},12,3e5\n" for k in range(rows))
    )
    assumed = replace(assume(), recorded_range_pa=(1e5, 5e5))
    with pytest.raises(InputError, match=words) as caught:
        recorded_response(path, assumed)
    assert str(path) in str(caught.value)
