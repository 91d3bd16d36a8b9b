"""The words of a tuning: each number in them is the figure that it stands for."""

import re
from dataclasses import replace

import pytest
from tuning_bag import usual

from host_sim.errors import InputError
from host_sim.tune.reasons import notes, reasons, row_as_dict
from host_sim.tune.tune import _refuse_broken

NUMBER = r"(-?[\d.]+(?:e-?\d+)?)"


@pytest.fixture(scope="module")
def tuned():
    return usual()


def said(tuned, pattern):
    """Numbers in the one sentence that the pattern fits."""
    found = [m for text in reasons(tuned) if (m := re.search(pattern, text))]
    assert len(found) == 1, pattern
    return [float(number.rstrip(".")) for number in found[0].groups()]


def test_reasons_state_the_gains_and_what_they_are_worth(tuned):
    choice, best = tuned.choice, tuned.best
    head = rf"Gains kc {NUMBER} %/%, ti {NUMBER} s, td {NUMBER} s: of {tuned.tries} "
    assert said(tuned, head) == [choice.kc, choice.ti_s, choice.td_s]
    assert f"limits: {best.settling_s:.2f} s for all steps" in reasons(tuned)[0]
    (weight,) = said(tuned, f"Set-point weight {NUMBER}:")
    assert weight == pytest.approx(choice.weight, rel=0.06)
    filter_s, divisor = said(tuned, f"Derivative filter {NUMBER} s, td over {NUMBER};")
    assert filter_s == pytest.approx(choice.filter_s, rel=0.01)
    assert divisor == pytest.approx(choice.td_s / choice.filter_s, rel=0.06)
    tracking_s, share = said(tuned, f"tracking {NUMBER} s, {NUMBER} ti")
    assert tracking_s == pytest.approx(choice.tracking_s, rel=0.01)
    assert share == pytest.approx(choice.tracking_s / choice.ti_s, rel=0.06)
    deadband, turns = said(tuned, f"Deadband {NUMBER} %.* apart: {NUMBER},")
    assert deadband == pytest.approx(100 * choice.deadband, rel=0.01)
    assert turns == best.reversals
    assert any(best.slowest.in_words() in text for text in reasons(tuned))


def test_reasons_compare_with_the_quickest_rule_that_settles(tuned):
    rule = tuned.best_rule
    settled = [row for row in tuned.rule_rows if not row.unsettled]
    assert rule.settling_s == min(row.settling_s for row in settled)
    share, word = re.search(
        rf"{NUMBER} % (less|more) than the quickest published rule that settles every "
        rf"machine \({re.escape(rule.name)}, {rule.settling_s:.2f} s",
        reasons(tuned)[0],
    ).groups()
    gained = 100 * (1 - tuned.best.settling_s / rule.settling_s)
    assert float(share) == pytest.approx(abs(gained), abs=0.5)
    assert (word == "less") == (gained >= 0)


def test_reasons_show_other_strengths_of_the_compensation(tuned):
    (text,) = [text for text in reasons(tuned) if text.startswith("Supply comp")]
    for tried, row in tuned.strengths:
        figures = f"{row.settling_s:.2f} s and {100 * row.overshoot:.1f} %"
        assert f"at {100 * tried:.0f} % {figures}" in text
    assert f"compensation {100 * tuned.choice.strength:.0f} %" in text


def test_reasons_without_a_rule_that_settles_say_so(tuned):
    lost = tuple(replace(row, unsettled=1) for row in tuned.rule_rows)
    (first, *_) = reasons(replace(tuned, rule_rows=lost))
    assert "where no published rule settles every machine" in first


def test_reasons_notes_are_the_refusals_of_rules_and_the_models(tuned):
    bench = replace(tuned.bench, notes=("of the model",))
    refused = sum(len(asked.answers.refusals) for asked in bench.asked)
    told = notes(bench)
    assert len(told) == refused + 1
    assert told[-1] == "of the model"


def test_row_as_dict_has_the_figures_of_the_row(tuned):
    row, limits = tuned.best, tuned.scenario.limits
    told = row_as_dict(row, limits)
    assert told["worst_settling_s"] == row.settling_s
    assert told["worst_overshoot_percent"] == 100 * row.overshoot
    assert told["kc"] == row.law.pid.gains.kp
    assert told["holds_limits"] is row.holds(limits) is True
    assert row_as_dict(replace(row, ms=99.0), limits)["holds_limits"] is False
    assert row_as_dict(replace(row, unsettled=1), limits)["holds_limits"] is False


BROKEN = {
    "overshoot": ({"overshoot": 0.45}, "limits.overshoot", "45 % against 30 %"),
    "ms": ({"ms": 4.5}, "limits.ms", "4.5 against 2.5"),
    "travel": ({"travel": 9.0}, "limits.travel", "9 strokes a step against 6"),
    "hunting": ({"reversals": 12.0}, "hunting", "12 reversals .* against 3"),
}


@pytest.mark.parametrize("name", BROKEN)
def test_tune_refusal_names_the_limit_that_binds_and_by_how_much(name, tuned):
    figures, key, reached = BROKEN[name]
    row = replace(tuned.best, **figures)
    with pytest.raises(
        InputError, match=f"{key}: .*the best reach {reached}"
    ) as refused:
        _refuse_broken(tuned.scenario.limits, row)
    assert row.worst[name] in str(refused.value)
    assert "\n" not in str(refused.value)


def test_tune_refusal_is_of_the_limit_that_is_broken_most(tuned):
    row = replace(tuned.best, overshoot=0.31, travel=12.0)
    with pytest.raises(InputError, match=r"limits\.travel"):
        _refuse_broken(tuned.scenario.limits, row)
    _refuse_broken(tuned.scenario.limits, tuned.best)
