"""Forms of PID: there and back, the same controller, and where there is no way.

Numbers of the series to ideal conversion: REFERENCES.md, section 10.5, closed
form second-hand (Skogestad 2003), recomputed there; one unit of the last digit.
"""

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from host_sim.errors import InputError
from host_sim.law.settings import Gains
from host_sim.tune.forms import Ideal, Series

sizes = st.floats(1e-3, 1e3)
series_forms = st.builds(Series, sizes, sizes, st.one_of(st.just(0.0), sizes))


def ideal_gain(form, s):
    return form.kc * (1.0 + 1.0 / (form.ti_s * s) + form.td_s * s)


def series_gain(form, s):
    return form.kc * (1.0 + 1.0 / (form.ti_s * s)) * (1.0 + form.td_s * s)


def parallel_gain(gains, s):
    return gains.kp + gains.ki_per_s / s + gains.kd_s * s


@given(series_forms, st.floats(1e-3, 1e3))
def test_forms_are_the_same_controller_at_every_frequency(series, frequency):
    s = 1j * frequency
    ideal = series.ideal()
    wanted = series_gain(series, s)
    assert ideal_gain(ideal, s) == pytest.approx(wanted, rel=1e-9)
    assert parallel_gain(ideal.parallel(), s) == pytest.approx(wanted, rel=1e-9)


@given(series_forms)
@example(Series(1.0, 0.3, 0.3))
@example(Series(1.0, 0.7, 0.7))
def test_series_to_ideal_and_back_is_the_same_or_its_twin(series):
    # Both zeros are alike in a series form: ti and td may come back exchanged.
    back = Series.of_ideal(series.ideal())
    assert back.ti_s >= back.td_s * (1.0 - 1e-6)
    # Near ti = td the square root halves the digits.
    assert sorted((back.ti_s, back.td_s)) == pytest.approx(
        sorted((series.ti_s, series.td_s)), rel=1e-6, abs=1e-9
    )


@given(st.builds(Ideal, sizes, sizes, sizes))
def test_ideal_to_parallel_and_back_is_the_same(ideal):
    back = Ideal.of_parallel(ideal.parallel())
    assert (back.kc, back.ti_s, back.td_s) == pytest.approx(
        (ideal.kc, ideal.ti_s, ideal.td_s)
    )


@pytest.mark.parametrize(
    ("series", "ideal"),
    [
        (Series(1.2987, 2.0, 1.2), (2.07792, 3.2, 0.75)),
        (Series(0.5, 1.5, 1.0), (0.833333, 2.5, 0.6)),
        (Series(10.0, 8.0, 2.0), (12.5, 10.0, 1.6)),
    ],
)
def test_series_to_ideal_matches_the_table(series, ideal):
    found = series.ideal()
    assert (found.kc, found.ti_s, found.td_s) == pytest.approx(ideal, abs=1e-6)


def test_form_without_integral_or_derivative_stays_so():
    inf = float("inf")
    assert Series(2.0).ideal() == Ideal(2.0, inf, 0.0)
    assert Series.of_ideal(Ideal(2.0, inf, 0.5)) == Series(2.0, inf, 0.5)
    assert Ideal(2.0).parallel() == Gains(2.0)


def test_ideal_with_complex_zeros_has_no_series_form():
    with pytest.raises(InputError, match=r"below 4 td; lower td to 0\.25 s"):
        Series.of_ideal(Ideal(1.0, 1.0, 0.3))
    assert Series.of_ideal(Ideal(1.0, 1.0, 0.25)) == Series(0.5, 0.5, 0.5)


@pytest.mark.parametrize("gains", [Gains(0.0, 1.0), Gains(0.0, 0.0, 1.0)])
def test_parallel_without_p_has_no_ideal_form(gains):
    with pytest.raises(InputError, match="no I or D without P"):
        Ideal.of_parallel(gains)


def test_gains_of_zero_are_an_ideal_form_that_does_nothing():
    assert Ideal.of_parallel(Gains(0.0)).parallel() == Gains(0.0)


@pytest.mark.parametrize(
    "numbers",
    [(-1.0, 1.0, 0.0), (1.0, 0.0, 0.0), (1.0, 1.0, -0.1), (np.nan, 1.0, 0.0)],
)
@pytest.mark.parametrize("form", [Ideal, Series])
def test_forms_refuse_numbers_that_no_controller_has(form, numbers):
    with pytest.raises(InputError, match="must be 0 or more"):
        form(*numbers)
