"""Compiled, alone or side by side, a loop is the plain loop, bit for bit."""

from dataclasses import replace

import numpy as np
import pytest
from scenario_texts import CHAMBER_PRESS

from host_sim.errors import InputError
from host_sim.loop import compiled
from host_sim.loop.compiled import run_compiled
from host_sim.loop.engine import ENGINES, run
from host_sim.loop.loop import run_scenario
from host_sim.loop.record import COLUMNS
from host_sim.plant.settings import Consumption, Restriction
from host_sim.scenario.load import load_scenario, shipped_scenario_path


def press(**changes):
    """The shipped press, its first step, with other settings."""
    scenario = load_scenario(shipped_scenario_path())
    return changed(replace(scenario, duration_s=1.5, ticks=150), **changes)


def bag(**changes):
    scenario = load_scenario(shipped_scenario_path("press_bag_recorded.toml"))
    return changed(replace(scenario, duration_s=4.0, ticks=400), **changes)


def changed(scenario, arrangement=None, load=None, sensing=None, law=None):
    plant = scenario.plant
    built = replace(plant.arrangement, **(arrangement or {}))
    built = replace(built, load=replace(built.load, **(load or {})))
    plant = replace(
        plant, arrangement=built, sensing=replace(plant.sensing, **(sensing or {}))
    )
    return replace(scenario, plant=plant, law=replace(scenario.law, **(law or {})))


def delayed_sensor():
    scenario = press()
    sensor = replace(scenario.plant.sensing.pressure, delay_s=0.0137, drift_per_s=50.0)
    return changed(scenario, sensing={"pressure": sensor})


def without_lags():
    scenario = bag()
    valve = replace(scenario.plant.arrangement.valve, lag_s=0.0, hysteresis=0.0)
    sensor = replace(scenario.plant.sensing.pressure, lag_s=0.0, noise=0.0, bits=None)
    return changed(scenario, arrangement={"valve": valve}, sensing={"pressure": sensor})


def drawn_upon():
    draw = Consumption(((0.0, 1e-4), (1.0, 4e-3), (2.0, 0.0)))
    return bag(
        arrangement={"consumption": draw, "bleed": Restriction(2e-10, index=0.6)}
    )


CASES = {
    "press": press,
    "bag": bag,
    "chamber": lambda: replace(load_scenario(CHAMBER_PRESS), duration_s=2.0, ticks=400),
    "isothermal": lambda: press(load={"thermal": "isothermal"}),
    "adiabatic": lambda: press(load={"thermal": "adiabatic"}),
    "wall": lambda: press(load={"thermal": "wall", "wall_conductance_w_k": 3.0}),
    "polytropic bag": lambda: bag(load={"thermal": "polytropic"}),
    "delayed sensor": delayed_sensor,
    "without lags": without_lags,
    "drawn upon": drawn_upon,
}


@pytest.mark.parametrize("name", CASES)
def test_loop_compiled_gives_the_same_run_to_the_bit(name):
    scenario = CASES[name]()
    plain, native = run_scenario(scenario), run_compiled(scenario)
    assert list(plain.columns) == list(native.columns) == list(COLUMNS)
    for column in COLUMNS:
        assert plain.columns[column].tobytes() == native.columns[column].tobytes(), (
            column
        )


def test_loop_compiled_in_pieces_is_the_same_run(monkeypatch):
    scenario = press()
    whole = run_compiled(scenario)
    monkeypatch.setattr(compiled, "PIECE_TICKS", 7)
    done = []
    pieces = run_compiled(scenario, done.append)
    assert done[0] == 7
    assert done[-1] == 150
    for column in COLUMNS:
        assert whole.columns[column].tobytes() == pieces.columns[column].tobytes()


def test_loop_compiled_keeps_what_was_done_when_interrupted(monkeypatch):
    monkeypatch.setattr(compiled, "PIECE_TICKS", 50)

    def stop(done):
        if done == 100:
            raise KeyboardInterrupt

    stopped, whole = run_compiled(press(), stop), run_compiled(press())
    assert stopped.ticks == 100
    for column in COLUMNS:
        first = whole.columns[column][:100]
        assert stopped.columns[column].tobytes() == first.tobytes()


def test_loop_compiled_names_the_tick_that_gave_nan(monkeypatch):
    make_rig = compiled.make_rig

    def spoiled(scenario, plant):
        rig = make_rig(scenario, plant)
        rig.scripts[40:, 0] = np.nan
        return rig

    monkeypatch.setattr(compiled, "make_rig", spoiled)
    with pytest.raises(InputError, match=r"left the physical range at t = 0\.4 s"):
        run_compiled(press())


@pytest.mark.parametrize("engine", ENGINES)
def test_loop_engine_changes_nothing(engine):
    scenario = press()
    forced = run(scenario, engine)
    expected = run_scenario(scenario)
    for column in COLUMNS:
        assert forced.columns[column].tobytes() == expected.columns[column].tobytes()


def test_loop_engine_compiles_long_runs_and_not_short_ones(monkeypatch):
    ran = []
    monkeypatch.setattr("host_sim.loop.engine.run_compiled", lambda *_: ran.append(1))
    run(replace(bag(), duration_s=0.5, ticks=50))
    assert not ran
    run(press())
    assert ran == []
    run(load_scenario(shipped_scenario_path()))
    assert ran == [1]


def test_loop_engine_refuses_a_record_beyond_the_memory():
    endless = replace(press(), duration_s=1e12, ticks=10**14)
    with pytest.raises(InputError, match=r"run\.duration: 10+ ticks need .* GB"):
        run(endless)
