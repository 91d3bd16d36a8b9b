"""Models, their exact answers, and the model file."""

import control
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from identify_records import step_record

from host_sim.errors import InputError
from host_sim.tune.identify import identify
from host_sim.tune.models import (
    FIRST,
    INTEGRATING,
    SECOND,
    HeldInput,
    Model,
    real_lags_s,
    unit_answer,
)
from host_sim.tune.models_answer import answer_time_s, rise_time_s
from host_sim.tune.models_file import model_file, model_text, read_model

SYSTEMS = {
    FIRST: lambda t: control.tf([1], [t, 1]),
    INTEGRATING: lambda t: control.tf([1], [1, 0]),
}


@settings(max_examples=max(settings().max_examples // 2, 1))
@given(
    form=st.sampled_from([FIRST, SECOND, INTEGRATING]),
    time_constant_s=st.floats(0.05, 5.0),
    damping=st.floats(0.1, 4.0),
    seed=st.integers(0, 1000),
)
def test_unit_answer_agrees_with_a_general_library(
    form, time_constant_s, damping, seed
):
    # python-control 0.10.2, forced_response on a grid on which the input is
    # held: it interpolates inputs linearly, so each change takes one fine step.
    random = np.random.default_rng(seed)
    step_s = 1e-3
    time_s = np.arange(0.0, 3.0, step_s)
    changes_s = np.sort(random.choice(time_s[100:2_000:20], 4, replace=False))
    held = HeldInput(changes_s - step_s / 2, random.uniform(-1.0, 1.0, 5))
    if form == SECOND:
        denominator = [time_constant_s**2, 2 * damping * time_constant_s, 1]
        system, shape = control.tf([1], denominator), (time_constant_s, damping)
    else:
        system = SYSTEMS[form](time_constant_s)
        shape = (time_constant_s,) if form == FIRST else ()
    moved = held.at(time_s) - held.levels[0]
    _, expected = control.forced_response(system, time_s, moved)
    assert unit_answer(form, shape, held, time_s) == pytest.approx(expected, abs=5e-4)


@given(st.floats(-3e-4, 3e-4))
def test_unit_answer_is_smooth_where_both_lags_are_equal(excess):
    held, time_s = (
        HeldInput(np.array([0.0]), np.array([0.0, 1.0])),
        np.arange(0, 9, 0.1),
    )
    double = 1.0 - (1.0 + time_s) * np.exp(-time_s)
    near = unit_answer(SECOND, (1.0, 1.0 + excess), held, time_s)
    assert near == pytest.approx(double, abs=5e-4)


def test_unit_answer_of_many_changes_is_the_sum_of_each():
    random = np.random.default_rng(3)
    times_s, levels = np.sort(random.uniform(0, 9, 40)), random.uniform(0, 1, 41)
    at_s = np.linspace(-1.0, 12.0, 300)
    for form, shape in ((FIRST, (0.7,)), (SECOND, (0.5, 0.3)), (INTEGRATING, ())):
        together = unit_answer(form, shape, HeldInput(times_s, levels), at_s)
        apart = sum(
            unit_answer(
                form, shape, HeldInput(times_s[k : k + 1], levels[k : k + 2]), at_s
            )
            for k in range(40)
        )
        assert together == pytest.approx(apart, abs=1e-9)


@given(st.floats(1.0, 50.0), st.floats(0.01, 10.0))
def test_real_lags_have_the_sum_and_the_product_of_the_model(damping, time_constant_s):
    longer_s, shorter_s = real_lags_s(time_constant_s, damping)
    assert longer_s >= shorter_s * (1.0 - 1e-12)
    assert longer_s + shorter_s == pytest.approx(2 * damping * time_constant_s)
    assert longer_s * shorter_s == pytest.approx(time_constant_s**2)


def test_answer_and_rise_times_match_closed_forms():
    # Section 9 of the check values: first order ln 9, ln 50; 1/(s+1)^2 rises in
    # 3.357909 and settles to 2 % at 5.833922; damping 0.5 settles to 5 % at
    # 5.28909; closed forms, typed in; tolerance 0.2 %, the grid of the search.
    first = Model(FIRST, 1.0, 0.5, 1.0)
    assert rise_time_s(first) == pytest.approx(np.log(9), rel=2e-3)
    assert answer_time_s(first, 0.98) == pytest.approx(0.5 + np.log(50), rel=1e-9)
    double = Model(SECOND, 1.0, 0.0, 1.0, 1.0)
    assert rise_time_s(double) == pytest.approx(3.357909, rel=2e-3)
    assert answer_time_s(double, 0.98) == pytest.approx(5.833922, rel=2e-3)
    swinging = Model(SECOND, 1.0, 0.0, 1.0, 0.5)
    assert answer_time_s(swinging, 0.95) == pytest.approx(5.28909, rel=2e-3)


@pytest.mark.parametrize(
    ("numbers", "words"),
    [
        ((FIRST, 1.0, -0.1, 1.0), "dead_time_s: -0.1 s; must be 0 s or more"),
        ((FIRST, 0.0, 0.1, 1.0), "gain: 0"),
        ((FIRST, float("nan"), 0.1, 1.0), "gain: nan"),
        ((FIRST, 1.0, 0.1), "time_constant_s: missing"),
        ((FIRST, 1.0, 0.1, -1.0), "time_constant_s: -1; must be above 0"),
        ((FIRST, 1.0, 0.1, 1.0, 0.5), "damping: not part"),
        ((INTEGRATING, 1.0, 0.1, 1.0), "time_constant_s: not part"),
        (("third order", 1.0, 0.1), "form: 'third order'"),
    ],
)
def test_model_refuses_what_no_plant_has(numbers, words):
    with pytest.raises(InputError, match=words.replace(".", r"\.")):
        Model(*numbers)


MODELS = [
    Model(FIRST, 1e5, 0.2, 1.0),
    Model(SECOND, -3e4, 0.1, 0.5, 0.7),
    Model(INTEGRATING, 2e4, 0.15),
]


@pytest.mark.parametrize("model", MODELS, ids=lambda model: model.form)
def test_model_file_gives_back_what_was_written(model, tmp_path):
    levels = (0.0, 0.5, 0.0) if model.form == INTEGRATING else (0.0, 0.5)
    record = step_record(model, times_s=(2.0, 4.0)[: len(levels) - 1], levels=levels)
    held = model_file(identify(record))
    path = tmp_path / "plant.toml"
    path.write_text(model_text(held), encoding="utf-8")
    assert read_model(path) == held
    assert held.model.gain == pytest.approx(model.gain, rel=1e-3)


@pytest.fixture
def good_text():
    return model_text(model_file(identify(step_record(MODELS[0], noise=0.01))))


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("dead_time_s = 0", "dead_time_s = -0", "model.dead_time_s: -0"),
        ('form = "first order"', 'form = "other"', "model.form = 'other'"),
        ('input_unit = "1"', 'input_unit = "V"', "input_unit = 'V'"),
        ('record = "step.csv"\n', "", "record: missing"),
        ("[range]", "[ranges]", "range: missing"),
        ("[model]", "[model]\nlag = 1", "model.lag: unknown key"),
        ("time_constant_s = ", "time_constant_s = 'x' #", "time_constant_s = 'x'"),
        ("pressure_pa = [", "pressure_pa = [9e9, ", "range.pressure_pa"),
        ("[range]", "[range", "not TOML"),
    ],
)
def test_model_file_refusals_name_the_key(good_text, tmp_path, old, new, words):
    assert old in good_text
    path = tmp_path / "plant.toml"
    path.write_text(good_text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_model(path)
    message = str(caught.value)
    assert "plant.toml" in message
    assert words in message
    assert "\n" not in message


def test_model_file_that_is_missing_is_refused(tmp_path):
    with pytest.raises(InputError, match="no such file"):
        read_model(tmp_path / "plant.toml")
