"""Small set-ups that several tests of the law share."""

from dataclasses import replace

from host_sim.law.block import COUNTS, FULL
from host_sim.law.controller import Controller
from host_sim.law.quantise import quantise
from host_sim.law.settings import Command, Gains, LawSettings, Measurement, Pid

TICK_S = 0.01

# One microampere and one signal a count: inputs are exact on both laws.
EXACT_COMMAND = Command(
    channel_ma=(0.0, 32.767),
    start_ma=0.0,
    end_ma=25.0,
    low_fault_ma=0.0,
    high_fault_ma=25.0,
    setpoint_low=-0.05,
    setpoint_high=1.1,
)
EXACT_PRESSURE = Measurement(channel=(-0.05, (COUNTS - 1_250) / FULL))
SUPPLY_COUNTS = 16_384


UNIT_GAINS = Gains(1.0)


def exact_settings(gains=UNIT_GAINS, *, command=None, output=None, drive=None, **pid):
    """Make settings whose calibrations lose nothing."""
    settings = LawSettings(
        tick_s=TICK_S,
        command=replace(EXACT_COMMAND, **(command or {})),
        measurement=EXACT_PRESSURE,
        pid=Pid(gains=gains, **pid),
    )
    if output is not None:
        settings = replace(settings, output=output)
    if drive is not None:
        settings = replace(settings, drive=drive)
    return settings


def exact_pilot(*args, **kwargs):
    """Make a controller on exact settings."""
    return Controller(quantise(exact_settings(*args, **kwargs)))


def tick(pilot, setpoint, pressure, supply_counts=SUPPLY_COUNTS):
    """Run one tick on a set point and a pressure in signal units (integers)."""
    return pilot.tick(setpoint, pressure + 1_250, supply_counts)
