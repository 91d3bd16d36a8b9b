"""Steps measured while they run are those measured from the whole record."""

import math
from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from host_sim.errors import InputError
from host_sim.law.settings import Gains
from host_sim.loop import batch, kernel
from host_sim.loop.batch import run_batch
from host_sim.loop.compiled import run_compiled
from host_sim.loop.rig import make_rig
from host_sim.loop.watch import MARKS
from host_sim.measure.answer import measure_run
from host_sim.measure.watched import WatchedStep, measure_batch, watch_steps
from host_sim.scenario.load import load_scenario, shipped_scenario_path
from host_sim.scenario.profile import Profile

SAME = (
    "t50_s",
    "rise_time_s",
    "overshoot_percent",
    "settling_5_s",
    "settling_2_s",
    "settling_1_s",
    "settling_band_s",
    "iae_pa_s",
)


def press(kp=1.5, ti_s=0.6, td_s=0.08, volume_l=6.0, seed=7):
    scenario = load_scenario(shipped_scenario_path())
    pid = replace(scenario.law.pid, gains=Gains.from_ideal(kp, ti_s, td_s))
    plant = scenario.plant
    load = replace(plant.arrangement.load, volume_m3=volume_l / 1000)
    return replace(
        scenario,
        law=replace(scenario.law, pid=pid),
        plant=replace(
            plant,
            arrangement=replace(plant.arrangement, load=load),
            sensing=replace(plant.sensing, seed=seed),
        ),
    )


def watched(scenario):
    return watch_steps(scenario, make_rig(scenario))


@given(
    kp=st.floats(0.2, 6.0),
    ti_s=st.floats(0.1, 5.0),
    volume_l=st.floats(1.0, 20.0),
    seed=st.integers(0, 100),
)
@settings(max_examples=15)
def test_watched_steps_are_those_of_the_record(kp, ti_s, volume_l, seed):
    scenario = press(kp, ti_s, 0.1, volume_l, seed)
    (found,) = measure_batch([watched(scenario)])
    answer = measure_run(scenario, run_compiled(scenario))
    for step, expected in zip(found, answer.steps, strict=True):
        for name in SAME:
            recorded = getattr(expected, name)
            if name == "overshoot_percent" and recorded is None:
                continue  # the record's doubts are not the watcher's
            number = math.nan if recorded is None else recorded
            assert getattr(step, name) == pytest.approx(
                number, rel=1e-9, abs=1e-9, nan_ok=True
            ), name
        if expected.steady_error_pa is not None:
            size_pa = expected.setpoint_to_pa - expected.setpoint_from_pa
            assert step.steady_error_pa == pytest.approx(
                expected.steady_error_pa, abs=2e-3 * abs(size_pa)
            )


def test_watched_effort_is_that_of_the_record():
    scenario = press()
    (found,) = measure_batch([watched(scenario)])
    run = run_compiled(scenario)
    first = 50
    drive = run.columns["drive_percent"][first:-1] / 100
    strokes = sum(step.travel_strokes for step in found)
    inside = np.abs(np.diff(drive)).sum()
    # Between two windows one change of the drive belongs to neither.
    lost = sum(abs(drive[k - first] - drive[k - first - 1]) for k in (450, 800))
    assert strokes == pytest.approx(inside - lost, rel=1e-12)
    air = run.columns["air_used_kg"]
    spans = ((50, 449), (450, 799), (800, 1198))
    for step, (start, end) in zip(found, spans, strict=True):
        assert step.air_used_kg == pytest.approx(air[end] - air[start], rel=1e-12)


def test_watched_in_plain_python_is_the_compiled_to_the_bit():
    scenario = replace(press(), duration_s=1.5, ticks=150)
    loop = watched(scenario)
    (compiled,) = run_batch([loop])
    marks = np.zeros(len(MARKS))
    (window,) = loop.windows
    skipped = np.zeros(len(MARKS))
    given = loop.rig.arguments()
    common = [
        _plain(given[name])
        for name in (
            "tick_s",
            "delay_ticks",
            "words",
            "block",
            "commands",
            "channels",
            "noise",
            "scripts",
            "pending",
        )
    ]
    body = tuple(_plain(part) for part in given["body"].values())
    levels = np.array(window.levels())
    kernel.run_watched(0, window.first, *common, levels, skipped, body)
    kernel.run_watched(window.first, window.ticks, *common, levels, marks, body)
    assert marks.tobytes() == compiled[0].tobytes()


def _plain(part):
    """One lane as plain Python has it."""
    return (
        part[..., 0].copy() if isinstance(part, np.ndarray) and part.ndim > 1 else part
    )


@pytest.mark.parametrize("count", [1, 2, 16, 17, 40])
def test_watched_side_by_side_is_each_alone(count, monkeypatch):
    monkeypatch.setattr(batch, "BLOCK", 24)
    loops = [
        watched(press(0.5 + 0.05 * k, volume_l=3.0 + 0.5 * k, seed=k))
        for k in range(count)
    ]
    together = list(run_batch(loops))
    alone = [found for loop in loops for found in run_batch([loop])]
    assert len(together) == count
    for found, expected in zip(together, alone, strict=True):
        assert found.tobytes() == expected.tobytes()


def test_watched_a_loop_of_nan_is_none_and_harms_no_neighbour():
    loops = [watched(press(volume_l=5.0 + k)) for k in range(4)]
    sound = list(measure_batch(loops))
    loops[2].rig.body["state"][:] = np.nan
    found = list(measure_batch(loops))
    assert found[2] is None
    # As text, since a time that never came is NaN, and that is unequal to itself.
    for k in (0, 1, 3):
        assert repr(found[k]) == repr(sound[k])


def test_watched_takes_loops_as_needed(monkeypatch):
    monkeypatch.setattr(batch, "BLOCK", 8)
    made = []

    def endless():
        loop = watched(replace(press(), duration_s=1.0, ticks=100))
        while True:
            made.append(1)
            yield loop

    steps = measure_batch(endless())
    next(steps)
    assert len(made) == 8


def test_watched_refuses_a_command_without_a_step():
    scenario = press()
    flat = replace(scenario, profile=Profile((0.0,), (12.0,)))
    with pytest.raises(InputError, match="no step"):
        watched(flat)


def test_watched_step_carries_units_in_its_names():
    assert {f.name.rpartition("_")[2] for f in fields(WatchedStep)} <= {
        "s",
        "percent",
        "pa",
        "strokes",
        "reversals",
        "kg",
    }
