"""An identified model in the loop of a scenario: margins, rules' facts, doubts.

The shipped press's own plant, linearised, is written down as a model, so what
tuning takes from the model can be held against what it takes from the plant.
"""

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tuning_bag import bag, press
from tuning_checks import check_model_margin

from host_sim.errors import InputError
from host_sim.tune.identified import AGREEMENT, identified
from host_sim.tune.models import FIRST, INTEGRATING, SECOND, Model
from host_sim.tune.models_file import ModelFile


@pytest.fixture(scope="module")
def scenarios(tmp_path_factory):
    folder = tmp_path_factory.mktemp("identified")
    return press(folder), bag(folder)


def held(model, unit="1", pressures_pa=(3.5e5, 4.1e5)):
    return ModelFile("step.csv", "drive", unit, model, {}, (0.3, 0.5), pressures_pa)


MODELS = st.one_of(
    st.builds(
        Model,
        st.just(FIRST),
        st.floats(1e5, 3e6),
        st.floats(0.0, 0.3),
        st.floats(0.05, 3.0),
    ),
    st.builds(
        Model,
        st.just(SECOND),
        st.floats(1e5, 3e6),
        st.floats(0.0, 0.3),
        st.floats(0.05, 1.0),
        st.floats(0.4, 3.0),
    ),
    st.builds(Model, st.just(INTEGRATING), st.floats(1e5, 5e6), st.floats(0.01, 0.3)),
)


@settings(max_examples=10)
@given(model=MODELS, gain=st.floats(0.05, 3.0))
def test_identified_loop_has_the_sampled_models_gain(model, gain, scenarios):
    check_model_margin(scenarios[0], held(model), gain)


def test_identified_model_that_agrees_has_no_doubt_and_one_that_does_not_has(scenarios):
    """A first-order model that bears what the press bears, then one of half of it."""
    model = Model(FIRST, 7.06e5, 0.0726, 0.206)
    agreeing = identified(scenarios[0], held(model))
    assert len(agreeing.notes) == 1
    weaker = replace(model, gain=model.gain / 2.0)
    doubting = identified(scenarios[0], held(weaker))
    _, doubt = doubting.notes
    assert "mend volume, conductances, lags or delay" in doubt
    assert doubting.facts.ultimate.gain == pytest.approx(
        2.0 * agreeing.facts.ultimate.gain, rel=1e-6
    )
    factor = float(doubt.split(" times")[0].split()[-1])
    assert factor > AGREEMENT


def test_identified_record_beyond_the_range_is_not_compared(scenarios):
    model = Model(FIRST, 7.06e5, 0.0726, 0.206)
    told = identified(scenarios[0], held(model, pressures_pa=(7.5e5, 8.5e5)))
    assert "not compared with the scenario's plant" in told.notes[1]


@pytest.mark.parametrize("unit", ["mA", "Pa"])
def test_identified_refuses_a_closed_loop(unit, scenarios):
    model = Model(FIRST, 7.06e5, 0.0726, 0.206)
    with pytest.raises(InputError, match="closed loop; record the drive"):
        identified(scenarios[0], held(model, unit))


def test_identified_refuses_a_pressure_that_falls_and_names_the_record(scenarios):
    model = Model(FIRST, -7.06e5, 0.0726, 0.206)
    with pytest.raises(InputError, match=r"step\.csv: gain: .*reverse the drive"):
        identified(scenarios[0], held(model))


def test_identified_negative_dead_time_is_no_model():
    with pytest.raises(InputError, match="must be 0 s or more"):
        Model(FIRST, 1e5, -1e-9, 1.0)
    assert math.isfinite(Model(FIRST, 1e5, 0.0, 1.0).dead_time_s)
