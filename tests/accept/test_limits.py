"""Limits and verdicts: units, guard, margins, over drawn figures."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from host_sim.accept.bench import Sequence
from host_sim.accept.figures import AT_LEAST, AT_MOST, FIGURES, NEVER, Figure
from host_sim.accept.limits import Limits, read_limits
from host_sim.accept.plan import plan
from host_sim.accept.verdicts import (
    FAIL,
    MARGINAL,
    NOT_JUDGED,
    NOT_MEASURED,
    PASS,
    judge,
)
from host_sim.scenario.load import load_scenario, shipped_scenario_path
from host_sim.scenario.units import Basis

NUMBERS = st.floats(0.0, 1e3)
POSITIVE = st.floats(1e-3, 1e3)
EXAMPLES = {
    "share": ("0.5 %", 0.5),
    "ratio": ("0.5 %", 0.5),
    "time": ("250 ms", 0.25),
    "frequency": ("120 1/min", 2.0),
    "flow": ("0.06 m3/h ANR", 1.0),
}


def one(name, measured, limit, guard=0.1):
    [verdict] = judge([Figure(name, "", measured)], Limits({name: limit}, guard))
    return verdict


@pytest.mark.parametrize("name", FIGURES)
def test_every_known_figure_takes_a_limit_in_its_unit(name, tmp_path):
    text, number = EXAMPLES[FIGURES[name].kind]
    path = tmp_path / "limits.toml"
    path.write_text(f'[limits]\n{name} = "{text}"\n', encoding="utf-8")
    limits = read_limits(path, Basis())
    assert limits.limits[name] == pytest.approx(number, rel=1e-12)
    assert limits.guard == 0.1


def test_every_figure_of_the_plan_is_known():
    sequences: list[Sequence] = plan(load_scenario(shipped_scenario_path()))
    names = {name for sequence in sequences for name in sequence.figures}
    assert names == set(FIGURES)


@given(NUMBERS, NUMBERS, st.sampled_from([1.0, -1.0]))
def test_a_largest_limit_holds_on_both_sides(size, limit, sign):
    verdict = one("hysteresis", sign * size, limit)
    assert verdict.figure.known.sense == AT_MOST
    if size > limit + 1e-8:
        assert verdict.word == FAIL
        assert verdict.margin < 0.0
    elif size < 0.9 * limit - 1e-8:
        assert verdict.word == PASS
    assert verdict.margin == pytest.approx(limit - size, abs=1e-8)


@given(NUMBERS, POSITIVE)
def test_a_least_limit_is_reached_or_failed(measured, limit):
    verdict = one("bandwidth", measured, limit)
    assert verdict.figure.known.sense == AT_LEAST
    if measured < limit - 1e-8:
        assert verdict.word == FAIL
    elif measured > 1.1 * limit + 1e-8:
        assert verdict.word == PASS


@given(POSITIVE, st.floats(0.0, 0.9))
def test_the_guard_alone_makes_the_difference_to_marginal(limit, guard):
    inside = one("rise_time", limit * (1.0 - guard) * 0.999 - 1e-8, limit, guard)
    assert inside.word == PASS
    close = one("rise_time", limit, limit, max(guard, 0.01))
    assert close.word == MARGINAL
    assert close.margin == 0.0


def test_what_never_happens_fails_whatever_the_limit():
    verdict = one("settling_time", NEVER, 1e9)
    assert verdict.word == FAIL
    assert verdict.margin == -math.inf


def test_no_limit_is_not_judged_and_no_measurement_no_pass():
    figure, lost = Figure("drift", "", 0.1), Figure("hunting", "", None)
    words = [v.word for v in judge([figure, lost], Limits({"hunting": 1.0}))]
    assert words == [NOT_JUDGED, NOT_MEASURED]
    assert [v.word for v in judge([figure, lost], None)] == words
