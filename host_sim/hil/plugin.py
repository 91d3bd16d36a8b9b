"""The pytest plugin: `--device`, `--scenario`, and what a test is given.

Loaded by pytest itself once the package is installed. A test of ten lines:

    def test_press_settles(recorder):
        recorder.hold(4.0, 0.5)  # mA, s
        recorder.hold(12.0, 4.0)
        (step,) = recorder.measure().steps
        assert step.overshoot_percent < 20
        assert step.settling_band_s < 3

``pytest --device emulated --scenario PRESS.toml`` runs it with the law on the
emulated board.
"""

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from host_sim.hil.bench import Recorder
    from host_sim.loop.record import Law
    from host_sim.plant.plant import Plant
    from host_sim.scenario.load import Scenario

SIMULATED = ("model", "unix", "emulated")
MARKERS = (
    "needs_device(kind, ...): run only with one of these devices: "
    "'model', 'unix', 'emulated', 'port' (a real board)",
    "changes_supply: changes the supply's pressure, so no test for a real bench",
)


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add the options."""
    group = parser.getgroup("integer-pilot", "hardware in the loop")
    group.addoption(
        "--device",
        default="model",
        metavar="DEVICE",
        help="model, unix, emulated, or a serial port (default: model)",
    )
    group.addoption(
        "--scenario",
        type=Path,
        metavar="FILE",
        help="scenario file (default: the shipped invented press)",
    )


def pytest_configure(config: pytest.Config) -> None:
    """Make the markers known."""
    for marker in MARKERS:
        config.addinivalue_line("markers", marker)


def pytest_runtest_setup(item: pytest.Item) -> None:
    """Skip a test that the chosen device cannot serve."""
    name = str(item.config.getoption("--device"))
    kind = name if name in SIMULATED else "port"
    for marker in item.iter_markers("needs_device"):
        if kind not in marker.args:
            pytest.skip(f"needs device {' or '.join(marker.args)}, has {kind}")
    if kind == "port" and item.get_closest_marker("changes_supply"):
        pytest.skip("changes the supply, which a real bench does not")


@pytest.fixture(scope="session")
def scenario(pytestconfig: pytest.Config) -> "Scenario":
    """Give the scenario of ``--scenario``."""
    from host_sim.scenario.load import load_scenario, shipped_scenario_path

    return load_scenario(
        pytestconfig.getoption("--scenario") or shipped_scenario_path()
    )


@pytest.fixture
def device(pytestconfig: pytest.Config, scenario: "Scenario") -> "Iterator[Law]":
    """Give the device of ``--device``, started anew, with the scenario's parameters."""
    from host_sim.device.opened import opened_device

    with ExitStack() as stack:
        name = str(pytestconfig.getoption("--device"))
        yield stack.enter_context(opened_device(name, scenario))


@pytest.fixture
def recorder(scenario: "Scenario", device: "Law") -> "Recorder":
    """Give the device on the simulated plant, nothing run yet."""
    from host_sim.hil.bench import Recorder

    return Recorder(scenario, device)


@pytest.fixture
def plant(recorder: "Recorder") -> "Plant":
    """Give the plant that the recorder's device drives."""
    return recorder.plant


@pytest.fixture
def acceptance(
    scenario: "Scenario", device: "Law"
) -> "Callable[[str], dict[str, float | None]]":
    """Give a function that runs a sequence by name and returns its figures."""
    from host_sim.hil.sequences import figures_of

    return lambda name: figures_of(scenario, device, name)
