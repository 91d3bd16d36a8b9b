"""What is counted: ticks of an invented press with its features on and off."""

from array import array

from host_sim.law.block import COUNTS
from host_sim.law.controller import Controller
from host_sim.law.quantise import quantise
from host_sim.law.settings import (
    Command,
    Gains,
    LawSettings,
    Measurement,
    Output,
    Pid,
    ProportionalDrive,
    SupplyCompensation,
    ValvePairDrive,
)
from host_sim.plant.gas import flow_function
from host_sim.prove.episodes import Episode

TICK_S = 0.005
TICKS = 1_000
_HOLD_TICKS = 250
_COMMANDS = (7_000, 22_000, 5_500, 15_000)
_ZERO_COUNTS, _FULL_COUNTS = 5_243, 26_214  # 4 mA and 20 mA of 25 mA
_LAG_TICKS = 24
_SUPPLY_COUNTS, _SUPPLY_TICKS = (15_000, 16_400), 50


def _everything(drive: ProportionalDrive | ValvePairDrive) -> LawSettings:
    return LawSettings(
        tick_s=TICK_S,
        command=Command(cutoff=0.01, ramp_up_per_s=2.0, ramp_down_per_s=2.0),
        measurement=Measurement(filter_s=0.01, valid=(0.002, 0.998)),
        supply=SupplyCompensation(
            strength=1.0,
            flow=tuple(flow_function(k / 16, 0.3, 0.5) for k in range(17)),
            filter_s=0.05,
            valid=(0.002, 0.998),
            lost=0.4,
        ),
        pid=Pid(
            gains=Gains(2.0, 4.0, 0.05),
            weight=0.7,
            derivative_filter_s=0.02,
            tracking_s=0.3,
            conditional=True,
            deadband=0.001,
            deadband_hysteresis=0.001,
            hold=((0.0, 0.0), (1.0, 0.1)),
        ),
        output=Output(-0.9, 0.9, rise_per_s=40.0, fall_per_s=40.0),
        drive=drive,
    )


CASES = {
    "all on, proportional drive": _everything(ProportionalDrive(0.02, 0.01)),
    "all on, valve pair": _everything(ValvePairDrive(0.01, 0.01)),
    "PI alone": LawSettings(TICK_S, pid=Pid(gains=Gains(2.0, 4.0))),
}


def press_episode(settings: LawSettings) -> Episode:
    """Step the command; the pressure follows it with a first-order lag."""
    pilot = Controller(quantise(settings))
    inputs = array("i")
    pressure = 0
    for tick in range(TICKS):
        command = _COMMANDS[tick // _HOLD_TICKS]
        goal = (command - _ZERO_COUNTS) * COUNTS // (_FULL_COUNTS - _ZERO_COUNTS)
        pressure += (goal - pressure) // _LAG_TICKS
        supply = _SUPPLY_COUNTS[tick // _SUPPLY_TICKS % 2]
        inputs.extend([command, pressure, supply, 0, 0])
    return Episode(pilot.block.words, pilot.state, inputs)
