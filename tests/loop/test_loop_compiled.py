"""The compiled loop is the plain loop: law to the bit, plant to the last bits."""

import numpy as np
import pytest

from host_sim.loop.compiled import run_compiled
from host_sim.loop.loop import run_scenario
from host_sim.loop.record import COLUMNS, LAW_COLUMNS
from host_sim.scenario.load import load_scenario, shipped_scenario_path


@pytest.mark.parametrize("name", ["veneer_press.toml", "press_bag_recorded.toml"])
def test_loop_compiled_gives_the_same_run(name):
    scenario = load_scenario(shipped_scenario_path(name))
    plain, compiled = run_scenario(scenario), run_compiled(scenario)
    assert list(plain.columns) == list(compiled.columns) == list(COLUMNS)
    for column in (*LAW_COLUMNS, "drive_percent", "current_ma", "fault_bits"):
        assert np.array_equal(plain.columns[column], compiled.columns[column]), column
    for column in COLUMNS:
        assert compiled.columns[column] == pytest.approx(
            plain.columns[column], rel=1e-12, abs=1e-12, nan_ok=True
        ), column
