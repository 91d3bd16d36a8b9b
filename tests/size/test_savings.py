"""What a better response is worth: properties, a case by hand, and refusals.

The case by hand is computed in the test itself from the definition, cycles times
seconds times hourly cost and so on; no outside source states such a case.
"""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from savings_cases import PRICES, STEPS, TOLERANCE_PA, assume, response

from host_sim.errors import InputError
from host_sim.size.savings import value_responses
from host_sim.size.savings_words import notes, payback_text, premises, verdict

SLOW, QUICK = response(1.2, air_kg=0.034), response(0.6, air_kg=0.030)
CAUSES = ["machine time", "labour", "air", "material"]


def spreads(savings):
    return {
        "cycle": savings.time_gained_per_cycle_s,
        "year": savings.time_gained_per_year_h,
        **savings.money_per_year,
        "total": savings.total_money_per_year,
    }


@st.composite
def prices(draw):
    """Draw ranges about the usual prices, some of them certain."""
    changed = {}
    for name, (_, expected, _) in PRICES.items():
        ends = draw(st.lists(st.floats(0.0, 3.0), min_size=3, max_size=3))
        changed[name] = tuple(expected * end for end in sorted(ends))
    return changed


@given(prices(), st.floats(0, 0.5))
def test_savings_rise_from_lowest_to_highest(changed, uncertainty):
    savings = value_responses(SLOW, QUICK, assume(changed, uncertainty))
    figures = spreads(savings)
    if savings.payback_years is not None:
        figures["payback"] = savings.payback_years
    for name, spread in figures.items():
        slack = 1e-9 * max(abs(spread.lowest), abs(spread.highest))
        slack = 0.0 if math.isnan(slack) or math.isinf(slack) else slack
        assert spread.lowest <= spread.expected <= spread.highest, name
        assert spread.p10 <= spread.p50 <= spread.p90, name
        assert spread.lowest - slack <= spread.p10, name
        assert spread.p90 <= spread.highest + slack, name


def assert_scaled(spread, factor, once):
    got, wanted = (np.array(list(vars(s).values())) for s in (spread, once))
    assert np.allclose(got, factor * wanted, rtol=1e-9, atol=0)


@given(st.fixed_dictionaries(dict.fromkeys(list(PRICES)[:6], st.floats(0.1, 10))))
def test_savings_each_cause_scales_with_its_own_prices_and_the_cycles(factors):
    prices = dict(PRICES)
    for name, factor in factors.items():
        prices[name] = tuple(factor * end for end in prices[name])
    once, more = (
        spreads(value_responses(SLOW, QUICK, assume(p))) for p in (PRICES, prices)
    )
    cycles = factors["cycles_per_year"]
    material = factors["material.flow"] * factors["material.price"]
    assert_scaled(more["cycle"], 1.0, once["cycle"])
    assert_scaled(more["year"], cycles, once["year"])
    for cause, factor in (
        ("machine time", factors["machine_hour_cost"]),
        ("labour", factors["labour_hour_cost"]),
        ("air", factors["air.price"]),
        ("material", material),
    ):
        assert_scaled(more[cause], cycles * factor, once[cause])


@pytest.mark.parametrize(
    "names",
    [
        ("cycles_per_year",),
        ("machine_hour_cost", "labour_hour_cost", "air.price", "material.price"),
    ],
)
@given(factor=st.floats(0.1, 10))
def test_savings_total_scales_with_all_prices_or_with_the_cycles(names, factor):
    prices = {
        name: tuple(factor * end for end in ends) if name in names else ends
        for name, ends in PRICES.items()
    }
    once, more = (value_responses(SLOW, QUICK, assume(p)) for p in (PRICES, prices))
    assert_scaled(more.total_money_per_year, factor, once.total_money_per_year)
    assert_scaled(more.payback_years, 1 / factor, once.payback_years)


@given(prices(), st.floats(0, 0.3))
def test_savings_swapping_before_and_after_changes_the_sign(changed, uncertainty):
    assumed = assume(changed, uncertainty)
    there = spreads(value_responses(SLOW, QUICK, assumed))
    back = spreads(value_responses(QUICK, SLOW, assumed))
    for name, spread in there.items():
        ends = (spread.expected, spread.lowest, spread.highest)
        turned = (back[name].expected, back[name].highest, back[name].lowest)
        assert turned == pytest.approx([-end for end in ends], rel=1e-9, abs=1e-9)


@given(prices(), st.floats(0, 0.3))
def test_savings_of_the_same_response_are_zero(changed, uncertainty):
    savings = value_responses(SLOW, SLOW, assume(changed, uncertainty))
    for spread in spreads(savings).values():
        assert spread.expected == 0.0
        assert spread.lowest <= 0.0 <= spread.highest
        if uncertainty == 0.0:
            assert set(vars(spread).values()) == {0.0}
    assert savings.payback_years is None
    assert verdict(savings).startswith("No gain")


def test_savings_of_certain_assumptions_by_hand():
    certain = {name: (expected,) * 3 for name, (_, expected, _) in PRICES.items()}
    slow, quick = replace(SLOW, outside_s=9.0), replace(QUICK, outside_s=3.0)
    savings = value_responses(slow, quick, assume(certain, 0.0))
    ratios = [abs(b - a) / TOLERANCE_PA for _, a, b in STEPS]
    gained_s = (1.2 - 0.6) * sum(map(math.log, ratios))
    hours = 100e3 * gained_s / 3600
    wanted = {
        "machine time": 40 * hours,
        "labour": 30 * hours,
        "air": 100e3 * 0.004 / 1.185 * 0.03,
        "material": 100e3 * 6.0 * 2e-4 * 3.0,
    }
    assert savings.time_gained_per_year_h.expected == pytest.approx(hours, rel=1e-3)
    for cause, money in wanted.items():
        spread = savings.money_per_year[cause]
        assert spread.expected == pytest.approx(money, rel=3e-3)
        assert len(set(np.round(list(vars(spread).values()), 9))) == 1
    total = savings.total_money_per_year.expected
    assert total == pytest.approx(sum(wanted.values()), rel=3e-3)
    assert savings.payback_years.expected == pytest.approx(2000 / total)
    assert savings.draws_without_gain_percent == 0.0


def test_savings_air_by_energy_costs_what_the_price_of_its_energy_makes():
    priced = {k: v for k, v in PRICES.items() if k != "air.price"}
    by_price = value_responses(SLOW, QUICK, assume())
    energy = {
        "air.specific_energy": (3e5, 3e5, 3e5),
        "air.energy_price": tuple(end / 3e5 for end in PRICES["air.price"]),
    }
    by_energy = value_responses(SLOW, QUICK, assume(priced | energy))
    one, other = (s.money_per_year["air"] for s in (by_price, by_energy))
    for name in ("expected", "lowest", "highest"):
        assert getattr(one, name) == pytest.approx(getattr(other, name))


def test_savings_loss_is_said_plainly_and_never_pays_back():
    savings = value_responses(QUICK, SLOW, assume())
    assert savings.payback_years is None
    assert payback_text(savings) == ""
    assert verdict(savings).startswith("A loss of ")
    assert savings.draws_without_gain_percent == 100.0


def test_savings_gain_within_the_uncertainty_is_doubtful():
    near = response(1.18, air_kg=0.034)
    savings = value_responses(SLOW, near, assume(uncertainty=0.1))
    assert savings.total_money_per_year.expected > 0.0
    assert "% of the draws save nothing" in verdict(savings)
    assert savings.payback_years.highest == math.inf
    assert "never" in payback_text(savings)
    assert 20.0 < savings.draws_without_gain_percent < 50.0


def test_savings_twice_the_same_assumptions_give_the_same_draws():
    once, again = (value_responses(SLOW, QUICK, assume()) for _ in range(2))
    assert once == again


def test_savings_what_is_not_priced_is_not_counted_and_said():
    few = {k: PRICES[k] for k in ("cycles_per_year", "labour_hour_cost")}
    savings = value_responses(SLOW, QUICK, assume(few))
    assert list(savings.money_per_year) == ["labour"]
    said = "\n".join(notes(savings))
    for cause in ("machine time", "air", "material"):
        assert f"{cause} is not counted: the assumptions do not price it" in said
    assert "no investment is stated, so no payback" in said
    assert not any("Air is" in p or "Payback" in p for p in premises(savings))


def test_savings_air_of_a_record_is_not_counted_and_said():
    savings = value_responses(SLOW, response(0.6, air_kg=None), assume())
    assert "air" not in savings.money_per_year
    said = "\n".join(notes(savings))
    assert "air is not counted: a record does not show it" in said
    assert "the error of the model counts" in said


def test_savings_of_nothing_but_unseen_air_are_refused():
    only_air = {k: PRICES[k] for k in ("cycles_per_year", "air.price")}
    with pytest.raises(InputError, match="prices only air"):
        value_responses(SLOW, response(0.6, air_kg=None), assume(only_air))


def unsettled(lag_s, *numbers):
    """A response whose steps of these numbers never come within the tolerance."""
    good = response(lag_s, name=f"unsettled {numbers}")
    steps = tuple(
        replace(step, settling_band_s=None) if number in numbers else step
        for number, step in enumerate(good.steps, 1)
    )
    return replace(good, steps=steps)


def test_savings_step_unsettled_before_is_left_out_and_said():
    savings = value_responses(unsettled(1.2, 2), QUICK, assume())
    first = [r.step_times_s("tolerance")[0] for r in (SLOW, QUICK)]
    assert savings.time_per_cycle_s == pytest.approx(first)
    assert any("step 2 has no such time before" in note for note in notes(savings))


@pytest.mark.parametrize(
    ("before", "after", "words"),
    [
        (SLOW, unsettled(0.6, 1), "step 1 has no 'tolerance' time here, and one in"),
        (unsettled(1.2, 1, 2), unsettled(0.6, 1, 2), "no step has a 'tolerance' time"),
        (unsettled(1.2, 1, 2), QUICK, "no step has a 'tolerance' time"),
    ],
)
def test_savings_unsettled_after_or_nowhere_settled_is_refused(before, after, words):
    with pytest.raises(InputError, match=words) as caught:
        value_responses(before, after, assume())
    assert "lengthen the hold" in str(caught.value)


@pytest.mark.parametrize("word", ["settling 5 %", "settling 1 %", "t50", "rise"])
def test_savings_other_times_of_a_first_order_step_are_in_proportion(word):
    savings = value_responses(SLOW, QUICK, assume(step_time=word))
    before_s, after_s = savings.time_per_cycle_s
    assert before_s / after_s == pytest.approx(2.0, rel=1e-3)
