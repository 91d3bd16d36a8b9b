"""The relay test on the invented press: real plant, noise, play; its gains tried."""

from array import array
from dataclasses import replace

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from relay_press import Trial, traced

from firmware_model.device.relay import DONE
from host_sim.law.block import FULL
from host_sim.scenario.load import load_scenario, shipped_scenario_path
from host_sim.show.relay import relay_figure

PRESS = load_scenario(shipped_scenario_path())


def with_supply_falling_to(share):
    """Let the press's supply fall eight seconds after the start."""
    plant = PRESS.plant
    supply = plant.arrangement.supply
    falling = replace(supply, changes=((8.0, share * supply.pressure_pa),))
    arrangement = replace(plant.arrangement, supply=falling)
    return replace(PRESS, plant=replace(plant, arrangement=arrangement))


def check_limits(trial):
    """Assert that output and pressure kept to what was allowed while it swung."""
    pilot = trial.pilot
    swinging = np.array(trial.swinging)
    outputs = np.array(trial.outputs)[swinging] * FULL
    pressures = np.array(trial.pressures)
    errors = pilot.relay.wanted / FULL - pressures
    assert swinging.sum() > 1
    assert np.abs(outputs - pilot.relay.middle).max() <= pilot.block["RELAY_SIZE"] + 0.5
    one_tick = np.abs(np.diff(pressures)).max()
    travel = pilot.block["RELAY_TRAVEL"] / FULL
    assert np.abs(errors[swinging]).max() <= travel + one_tick + 1 / FULL


@given(
    share=st.floats(0.6, 1.0),
    size=st.integers(1_000, 8_000),
    band=st.integers(0, 500),
    travel=st.integers(500, 5_000),
)
@settings(max_examples=6)
def test_relay_on_the_press_stays_within_its_limits(share, size, band, travel):
    scenario = with_supply_falling_to(share)
    words = {"RELAY_SIZE": size, "RELAY_BAND": band, "RELAY_TRAVEL": travel}
    trial = Trial.of(scenario, RELAY_TICKS=2_000, **words)
    trial.swing()
    check_limits(trial)
    assert not trial.swinging[-1]


def test_relay_on_the_press_finishes_within_its_limits():
    trial = Trial.of(PRESS)
    trial.swing()
    assert trial.pilot.relay.state == DONE
    check_limits(trial)


def test_relay_gains_settle_the_press():
    trial = Trial.of(PRESS, RELAY_RULE=3)
    trial.swing()
    params = array("i", trial.pilot.device.params)
    assert trial.pilot.relay.accept() == 0
    assert trial.pilot.device.params != params
    for current_ma, wanted in ((12.0, 0.5), (16.0, 0.75), (8.0, 0.25)):
        trial.hold(current_ma, 1_000)
        found = np.array(trial.pressures[-100:])
        assert np.abs(found - wanted).max() < 0.02


def test_relay_figure_marks_the_test_and_the_consent():
    pressure, output = relay_figure(traced(PRESS, rule=3)).axes
    assert (pressure.get_ylabel(), output.get_ylabel()) == ("pressure, %", "output, %")
    marks = [text.get_text().strip() for text in pressure.texts]
    assert marks[0].startswith("relay test: ultimate gain")
    assert marks[1] == "gains accepted"
