"""Records that cannot answer: each refused in one line that names the remedy."""

import numpy as np
import pytest
from bag_records import bag_record
from hypothesis import given, settings
from hypothesis import strategies as st
from identify_records import START_PA, answer_pa, as_record, step_record

from host_sim.errors import InputError
from host_sim.scenario.load import load_scenario, shipped_scenario_path
from host_sim.tune.identify import identify
from host_sim.tune.models import FIRST, INTEGRATING, SECOND, HeldInput, Model

LAG = Model(FIRST, 1e5, 0.2, 1.0)
SWINGING = Model(SECOND, 1e5, 0.2, 1.0, 0.1)
RAMP = Model(INTEGRATING, 2e4, 0.2)


def clipped(record, share):
    """Cut a record off at a share of the way up."""
    top_pa = START_PA + share * (record.pressure_pa.max() - START_PA)
    return as_record(
        record.time_s, record.input, np.minimum(record.pressure_pa, top_pa)
    )


def bottomed(record):
    """Let a sensor end below the pressure's rest, above where it goes."""
    pressure_pa = np.maximum(record.pressure_pa, START_PA - 3e4)
    return as_record(record.time_s, record.input, pressure_pa)


def rounded(record, quantum_pa):
    pressure_pa = np.round(record.pressure_pa / quantum_pa) * quantum_pa
    return as_record(record.time_s, record.input, pressure_pa)


def pulse(model, length_s, **options):
    return step_record(
        model, times_s=(2.0, 2.0 + length_s), levels=(0.0, 0.5, 0.0), **options
    )


def lopsided():
    """Fill and vent a bag near the atmosphere, where it hardly vents."""
    bench = load_scenario(shipped_scenario_path("press_bag_recorded.toml"))
    record = bag_record(bench, np.random.default_rng(1))
    return as_record(record.time_s, record.input, record.pressure_pa)


def still():
    random = np.random.default_rng(1)
    time_s = np.arange(0.0, 5.0, 0.02)
    noise = 0.001 * random.standard_normal((2, len(time_s)))
    return as_record(time_s, 0.4 + noise[0], START_PA + 1e5 * noise[1])


def deaf():
    record = step_record(LAG, noise=0.01)
    return as_record(record.time_s, record.input, 0.0 * record.time_s + START_PA)


REFUSALS = {
    "no step": (still, ["no step", "record some rest"]),
    "no answer at all": (deaf, ["never moves", "larger step"]),
    "saturated, noise": (
        lambda: clipped(step_record(LAG, noise=0.005), 0.7),
        ["saturated sensor", "highest reading from 3.", "smaller step"],
    ),
    "saturated, no noise": (
        lambda: clipped(step_record(LAG), 0.7),
        ["saturated sensor", "smaller step"],
    ),
    "saturated, coarse": (
        lambda: clipped(rounded(step_record(LAG, noise=0.003), 500.0), 0.8),
        ["saturated sensor", "smaller step"],
    ),
    "saturated low": (
        lambda: bottomed(step_record(Model(FIRST, -1e5, 0.2, 1.0), noise=0.005)),
        ["saturated sensor", "lowest reading"],
    ),
    "before its cause": (
        lambda: step_record(LAG, noise=0.005, later_s=0.5),
        ["before the input", "dead time would be negative", "one clock"],
    ),
    "not linear": (
        lopsided,
        ["not linear", "little noise", "up and down apart", "--scenario"],
    ),
    "long before its cause": (
        lambda: step_record(LAG, noise=0.005, later_s=1.2),
        ["before the input", "dead time would be negative"],
    ),
    "too noisy": (
        lambda: step_record(LAG, noise=3.0, duration_s=8.0),
        ["too noisy", "larger step", "several times"],
    ),
    "too coarse": (
        lambda: step_record(LAG, noise=0.005, interval_s=1.0, duration_s=40.0),
        ["too coarse", "a row every 1 s", "record a row every 0.2 s or faster"],
    ),
    "far too coarse": (
        lambda: step_record(LAG, noise=0.005, interval_s=3.0, duration_s=90.0),
        ["too coarse"],
    ),
    "overlapping steps": (
        lambda: pulse(LAG, 0.6, noise=0.005),
        ["steps at 1.99 s and 2.59 s overlap", "wait 4.", "cut the record"],
    ),
    "overlapping steps one way": (
        lambda: step_record(LAG, times_s=(2.0, 2.5), levels=(0.0, 0.3, 0.5)),
        ["overlap", "cut the record"],
    ),
    "still moving": (
        lambda: step_record(LAG, noise=0.005, duration_s=3.5),
        ["still moving", "after the last step"],
    ),
    "still moving, no noise": (
        lambda: step_record(LAG, duration_s=3.0),
        ["still moving", "record 4."],
    ),
    "still swinging": (
        lambda: step_record(SWINGING, noise=0.005, duration_s=10.0),
        ["still moving", "record 3"],
    ),
}


@pytest.mark.parametrize("name", REFUSALS)
def test_identify_refuses_in_one_line_with_the_remedy(name):
    make, parts = REFUSALS[name]
    with pytest.raises(InputError) as caught:
        identify(make())
    message = str(caught.value)
    assert "\n" not in message
    assert message.startswith("step.csv: ")
    for part in parts:
        assert part in message, message


ANSWERS = {
    "one step": (lambda: step_record(LAG, noise=0.01), FIRST),
    "no noise": (lambda: step_record(LAG), FIRST),
    "coarse converter": (lambda: rounded(step_record(LAG), 1000.0), FIRST),
    "swinging": (lambda: step_record(SWINGING, noise=0.005, duration_s=60.0), SECOND),
    "a pulse, long enough": (lambda: pulse(LAG, 4.0, noise=0.005), FIRST),
    "an integrator that stops": (lambda: pulse(RAMP, 2.0, noise=0.005), INTEGRATING),
    "the same without noise": (lambda: pulse(RAMP, 2.0), INTEGRATING),
    "the same, coarse": (lambda: rounded(pulse(RAMP, 2.0), 500.0), INTEGRATING),
    "an integrator that goes on": (lambda: step_record(RAMP, noise=0.005), INTEGRATING),
}


@pytest.mark.parametrize("name", ANSWERS)
def test_identify_answers_what_a_record_can_answer(name):
    make, form = ANSWERS[name]
    found = identify(make())
    assert found.best.fit.model.form == form
    low, high = found.best.fit.intervals["gain"]
    true = 2e4 if form == INTEGRATING else 1e5
    assert low - 1e-6 * true <= true <= high + 1e-6 * true
    assert found.best.fit_percent > 95.0


def test_identify_fits_a_step_that_is_a_ramp():
    time_s = np.arange(0.0, 12.0, 0.02)
    drive = np.interp(time_s, [0.0, 2.0, 2.6, 12.0], [0.0, 0.0, 0.5, 0.5])
    fine_s = np.arange(0.0, 12.0, 0.001)
    fine = HeldInput(fine_s[1:], np.interp(fine_s, time_s, drive))
    record = as_record(time_s, drive, answer_pa(LAG, fine, time_s))
    found = identify(record)
    assert len(found.steps) == 1
    model = found.best.fit.model
    assert model.form == FIRST
    assert model.time_constant_s == pytest.approx(1.0, rel=0.01)
    assert model.dead_time_s == pytest.approx(0.2, abs=0.01)


NOTES = {
    "moving a little at the end": (
        lambda: step_record(LAG, noise=0.002, duration_s=4.7),
        "still moving at the end",
    ),
    "few rows in the rise": (
        lambda: step_record(LAG, noise=0.002, interval_s=0.4, duration_s=40.0),
        "rows in the rise",
    ),
    "no rest": (
        lambda: step_record(LAG, times_s=(0.04,), noise=0.002),
        "2 rows of rest",
    ),
    "clock": (lambda: step_record(LAG), "two rows 0.02 s apart"),
    "not linear": (
        lambda: as_record(
            (r := step_record(LAG, times_s=(2.0, 8.0), levels=(0.0, 0.5, 0.0))).time_s,
            r.input,
            START_PA + (r.pressure_pa - START_PA) ** 2 / 5e4,
        ),
        "is not linear",
    ),
}


@pytest.mark.parametrize("name", NOTES)
def test_identify_notes_say_what_to_do_better(name):
    make, words = NOTES[name]
    assert any(words in note for note in identify(make()).notes)


@settings(max_examples=max(settings().max_examples // 5, 1))
@given(
    rows=st.integers(20, 60),
    changes=st.lists(st.integers(0, 59), max_size=4),
    noise=st.sampled_from([0.0, 1e-6, 0.01, 1.0]),
    shape=st.sampled_from(["noise", "walk", "step", "spike", "ramp"]),
    seed=st.integers(0, 1000),
)
def test_identify_answers_any_record_or_refuses_it(rows, changes, noise, shape, seed):
    random = np.random.default_rng(seed)
    time_s = np.cumsum(random.uniform(0.05, 0.15, rows))
    drive = np.zeros(rows)
    for row in changes:
        drive[row:] += random.uniform(-0.5, 0.5)
    moves = {
        "noise": np.zeros(rows),
        "walk": np.cumsum(random.standard_normal(rows)) / 10,
        "step": drive,
        "spike": (np.arange(rows) == rows // 2).astype(float),
        "ramp": time_s / time_s[-1],
    }
    pressure = moves[shape] + noise * random.standard_normal(rows)
    record = as_record(time_s - time_s[0], drive, 2e5 + 1e4 * pressure)
    try:
        found = identify(record)
    except InputError as refusal:
        said = str(refusal)
    else:
        said = "step.csv: answered"
        low, high = found.best.fit.intervals["gain"]
        assert low < found.best.fit.model.gain < high
    assert said.startswith("step.csv: ")
    assert "\n" not in said
