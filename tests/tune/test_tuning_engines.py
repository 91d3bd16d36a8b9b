"""A tuned loop on other engines: the same words at every tick, so the same metrics.

The counts that the law saw in the tuned run of the slowest machine are replayed on
MicroPython with the tuned block. The drives are among the words; with the same
drives the plant does the same, and the metrics are the same numbers.
"""

from array import array
from dataclasses import replace

import pytest
from required import require
from tuning_bag import usual
from tuning_replay import RecordedLaw

from firmware_model.law import layout
from host_sim.law.block import PARAMETER_SLOT
from host_sim.law.quantise import quantise
from host_sim.loop.loop import run_scenario
from host_sim.measure.answer import measure_run
from host_sim.prove.board_engine import BOARD_ENGINES
from host_sim.prove.episodes import INPUTS, write_episodes
from host_sim.prove.python_engines import PYTHON_ENGINES

ENGINES = [
    engine
    for engine in (*PYTHON_ENGINES, *BOARD_ENGINES)
    if engine.name
    in (
        "CPython",
        "MicroPython unix, bytecode",
        "MicroPython WebAssembly, 32 bits",
        "MicroPython 1.9.2, Cortex-M0 board",
    )
]


@pytest.fixture(scope="module")
def tuned():
    return usual()


@pytest.fixture(scope="module")
def recorded(tuned):
    """The slowest machine under the chosen law, and what the law saw and did."""
    scenario = replace(tuned.best.slowest.scenario, law=tuned.best.law)
    law = RecordedLaw(quantise(scenario.law))
    return scenario, law, run_scenario(scenario, law)


@pytest.mark.parametrize("engine", ENGINES, ids=lambda engine: engine.name)
def test_tuned_loop_has_the_same_words_on_every_engine(engine, recorded, tmp_path):
    require(engine.missing(), engine.remedy)
    _, law, _ = recorded
    path = tmp_path / "episodes"
    write_episodes(path, [law.episode()])
    assert engine.run(path, "law") == [law.line()]


def test_tuned_loop_recorded_has_the_metrics_that_tuning_found(tuned, recorded):
    scenario, law, done = recorded
    steps = measure_run(scenario, done).steps
    settling_s = sum(step.settling_band_s for step in steps)
    assert settling_s == pytest.approx(tuned.best.settling_s, rel=1e-9)
    assert len(law.states) == scenario.ticks
    # The words that were compared hold the drives that moved the plant.
    slot = [name for name, *_ in layout.STATE].index("DRIVE")
    drives = [state[slot] / layout.FULL for state in law.states]
    late = scenario.compute_delay_ticks
    applied = (done.columns["drive_percent"] / 100.0).tolist()
    assert applied[late:] == pytest.approx(drives[: len(drives) - late], abs=1e-12)
    assert max(drives) - min(drives) > 0.3


def with_one_more(words, slot):
    other = array("i", words)
    other[slot] += 1
    return other


def test_tuned_loop_replay_notices_a_changed_word(recorded, tmp_path):
    """A calibration off by one step of the lattice, one count of one reading."""
    _, law, _ = recorded
    right, path = law.episode(), tmp_path / "episodes"
    scale = with_one_more(right.params, PARAMETER_SLOT["PRESSURE_GAIN"])
    reading = with_one_more(right.inputs, INPUTS * (right.ticks // 3) + 1)
    changed = [replace(right, params=scale), replace(right, inputs=reading)]
    write_episodes(path, [right, *changed])
    same, *others = (line.split()[0] for line in ENGINES[0].run(path, "law"))
    assert same == law.line().split()[0]
    assert same not in others


def test_tuned_block_lies_within_the_ranges_that_the_proof_covers(tuned):
    block = quantise(tuned.best.law)
    block.check_order()
    for name, (low, high), _, _ in layout.PARAMETERS:
        assert low <= block[name] <= high, name
