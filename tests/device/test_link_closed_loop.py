"""The closed loop with a device: the same numbers at every tick on all of them."""

import os

import numpy as np
import pytest
from required import require

from host_sim.device.check import check_device
from host_sim.device.link import DeviceLink
from host_sim.device.opened import open_line, opened_device
from host_sim.loop.loop import run_scenario
from host_sim.prove.engines import ENGINES
from host_sim.scenario.load import load_scenario, shipped_scenario_path

SLOW = os.environ.get("HYPOTHESIS_PROFILE") in ("ci", "deep")
PRESS = load_scenario(shipped_scenario_path())
NEEDED = {
    "model": "CPython",
    "unix": "MicroPython unix, bytecode",
    "emulated": "MicroPython 1.9.2, Cortex-M0 board",
}


def need(device):
    engine = next(e for e in ENGINES if e.name == NEEDED[device])
    require(engine.missing(), engine.remedy)


@pytest.mark.parametrize("device", NEEDED)
def test_loop_with_a_device_is_the_loop_without_tick_by_tick(device):
    need(device)
    alone = run_scenario(PRESS)
    with opened_device(device, PRESS) as law:
        run = run_scenario(PRESS, law)
    assert run.ticks == alone.ticks == PRESS.ticks
    for name, column in alone.columns.items():
        assert np.array_equal(run.columns[name], column, equal_nan=True), name


def test_loop_comparison_sees_one_parameter_that_differs():
    alone = run_scenario(PRESS)
    with opened_device("model", PRESS) as law:
        law.link.change([("P_GAIN", law.block["P_GAIN"] + 1)])
        run = run_scenario(PRESS, law)
    drive = "drive_percent"
    assert not np.array_equal(run.columns[drive], alone.columns[drive])


# Minutes on the emulated board.
CHECKED = ["model", "unix", "emulated"] if SLOW else ["model", "unix"]


@pytest.mark.parametrize("device", CHECKED)
def test_device_check_agrees_with_the_golden_vectors(device):
    need(device)
    with DeviceLink(open_line(device, 10_000)) as link:
        found = check_device(link, None, lambda ticks: None)
    assert found.difference is None
    assert found.ticks > 1_000
