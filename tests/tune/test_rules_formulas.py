"""Tuning rules give the numbers that are printed for them.

Source: REFERENCES.md, sections 10.3, 10.4, 10.6 and 10.7, typed in as printed;
tolerance one unit of the last digit printed. None of the papers was opened:

- Ziegler and Nichols 1942: rules second-hand; the two examples of 1/(s+1)^3 are
  those of Astrom and Haegglund 1995, from memory, recomputed, to three digits.
- Cohen and Coon 1953: P second-hand, PI and PID in the textbooks' form, from
  memory. The (a, tau) form of Astrom and Haegglund, from memory, differs by up to
  2.6 % in these numbers: 3 % between forms.
- AMIGO 2004: formulas from memory; the three plants' PID as in the paper, from
  memory, recomputed, to the paper's three digits too.
- Lambda, from memory; IMC (Rivera, Morari, Skogestad 1986), PI second-hand, PID
  from memory.
"""

import pytest

from host_sim.tune.forms import Ideal
from host_sim.tune.rules_formulas import (
    Ultimate,
    amigo,
    amigo_integrating,
    cohen_coon,
    imc,
    imc_integrating,
    lambda_pi,
    simc,
    simc_integrating,
    ziegler_nichols_frequency,
    ziegler_nichols_step,
)

INF = float("inf")


def numbers(form):
    return form.kc, form.ti_s, form.td_s


def close(printed):
    """One unit of the sixth decimal: what the tables print."""
    return pytest.approx(printed, abs=1e-6)


RISE, DELAY_S = 0.2180175, 0.8054720
"""Of 1/(s+1)^3, section 10.2; its own test is in test_rules_curve."""


def test_ziegler_nichols_step_matches_the_table():
    found = ziegler_nichols_step(RISE, DELAY_S)
    assert numbers(found["PID"]) == pytest.approx((5.504144, 1.610944, 0.402736), 3e-7)
    assert numbers(found["PI"]) == pytest.approx((4.128108, 2.684907, 0.0), 3e-7)


def test_ziegler_nichols_step_matches_the_books_example():
    found = ziegler_nichols_step(0.218, 0.806)["PID"]
    assert numbers(found) == pytest.approx((5.50, 1.61, 0.403), abs=0.005)


def test_ziegler_nichols_step_on_a_lag_with_dead_time():
    found = ziegler_nichols_step(0.4, 2.0)
    assert numbers(found["P"]) == close((2.5, INF, 0.0))
    assert numbers(found["PI"]) == pytest.approx((2.25, 6.6667, 0.0), abs=1e-4)
    assert numbers(found["PID"]) == close((3.0, 4.0, 1.0))


def test_ziegler_nichols_step_pi_keeps_the_original_integral_time():
    # Trap 7: many books print 3 L; second-hand: ki = 0.27 T/(K tau^2).
    lag_s, delay_s, gain = 10.0, 2.0, 2.0
    rise = gain * delay_s / lag_s
    found = ziegler_nichols_step(rise, delay_s)["PI"]
    assert found.kc == pytest.approx(0.9 * lag_s / (gain * delay_s))
    assert found.parallel().ki_per_s == pytest.approx(0.27 * lag_s / (gain * 4.0))
    assert found.ti_s > 3.3 * delay_s


def test_ziegler_nichols_frequency_matches_the_table():
    found = ziegler_nichols_frequency(Ultimate(8.0, 3.627599))
    assert numbers(found["P"]) == close((4.0, INF, 0.0))
    assert numbers(found["PI"]) == close((3.6, 3.022999, 0.0))
    assert numbers(found["PID"]) == close((4.8, 1.813799, 0.453450))


def test_ziegler_nichols_frequency_pi_is_the_original_not_the_variant():
    # Trap 7: ki = 0.54 Ku/Pu second-hand; "0.4 Ku, 0.8 Pu" is another rule.
    found = ziegler_nichols_frequency(Ultimate(8.0, 3.627599))["PI"]
    assert found.parallel().ki_per_s == pytest.approx(0.54 * 8.0 / 3.627599)


COHEN_COON = {
    (1.0, 10.0, 2.0): (5.333333, 4.583333, 4.707692, 6.916667, 4.547945, 0.701754),
    (2.0, 5.0, 1.0): (2.666667, 2.291667, 2.353846, 3.458333, 2.273973, 0.350877),
    (1.0, 1.0, 1.0): (1.333333, 0.983333, 1.137931, 1.583333, 1.809524, 0.307692),
}


@pytest.mark.parametrize("plant", COHEN_COON)
def test_cohen_coon_matches_the_table(plant):
    found = cohen_coon(*plant)
    printed = COHEN_COON[plant]
    assert found["P"].kc == close(printed[0])
    assert numbers(found["PI"])[:2] == close(printed[1:3])
    assert numbers(found["PID"]) == close(printed[3:])


def test_cohen_coon_lies_within_3_percent_of_its_other_form():
    found = cohen_coon(1.0, 10.0, 2.0)
    assert numbers(found["PI"])[:2] == pytest.approx((4.5828, 4.6667), rel=0.03)
    assert numbers(found["PID"]) == pytest.approx((6.9930, 4.6346, 0.7129), rel=0.03)


AMIGO = {  # (gain, T, L): PI k, ti; PID k, ti, td
    (1.0, 1.04, 0.075): (4.13334, 0.538925, 6.4400, 0.361173, 0.0367059),
    (1.0, 2.90, 1.42): (0.414150, 2.655005, 1.119014, 2.398222, 0.619062),
    (1.0, 0.0932, 1.01): (0.175160, 0.367276, 0.241525, 0.474184, 0.118794),
    (1.0, 1.0, 1.0): (0.25, 1.0, 0.65, 1.090909, 0.384615),
    (2.0, 10.0, 2.0): (0.602778, 7.765217, 1.225, 5.866667, 0.943396),
    (1.0, 2.452781, 0.805472): (0.649108, 2.120381, 1.570316, 1.751159, 0.366618),
}
# The last row's L and T are themselves printed to seven digits.
AMIGO_TOLERANCE = 5e-6


@pytest.mark.parametrize("plant", AMIGO)
def test_amigo_matches_the_table(plant):
    found = amigo(*plant)
    both = *numbers(found["PI"])[:2], *numbers(found["PID"])
    assert both == pytest.approx(AMIGO[plant], abs=AMIGO_TOLERANCE)


@pytest.mark.parametrize(
    ("plant", "paper"),
    [
        ((1.0, 1.04, 0.075), (6.44, 0.361, 0.0367)),
        ((1.0, 2.90, 1.42), (1.12, 2.40, 0.619)),
        ((1.0, 0.0932, 1.01), (0.242, 0.474, 0.119)),
    ],
)
def test_amigo_pid_matches_the_papers_three_digits(plant, paper):
    assert numbers(amigo(*plant)["PID"]) == pytest.approx(paper, rel=0.003)


def test_amigo_of_an_integrator_is_the_limit_of_a_long_lag():
    lag_s, slope = 1e9, 0.3
    long, limit = amigo(slope * lag_s, lag_s, 2.0), amigo_integrating(slope, 2.0)
    for terms in ("PI", "PID"):
        assert numbers(long[terms]) == pytest.approx(numbers(limit[terms]), rel=1e-6)


def test_lambda_and_imc_match_the_table():
    assert numbers(lambda_pi(2.0, 10.0, 2.0, 10.0)) == close((0.416667, 10.0, 0.0))
    found = imc(2.0, 10.0, 2.0, (1.7 * 2.0, 0.8 * 2.0))
    assert numbers(found["PI"]) == close((1.617647, 11.0, 0.0))
    assert numbers(found["PID"]) == close((2.115385, 11.0, 0.909091))


def test_imc_of_an_integrator_tends_to_lambda_of_a_slow_lag_without_delay():
    # Without dead time both ask for 2/(k f) and 2 f: a check of the algebra alone.
    assert imc_integrating(0.5, 0.0, 3.0) == Ideal(2.0 / (0.5 * 3.0), 6.0)


def test_simc_of_an_integrator_is_the_limit_of_a_long_lag():
    lag_s, slope = 1e9, 0.3
    long, limit = (
        simc(slope * lag_s, lag_s, 2.0, 2.0),
        simc_integrating(slope, 2.0, 2.0),
    )
    assert numbers(long) == pytest.approx(numbers(limit), rel=1e-9)
