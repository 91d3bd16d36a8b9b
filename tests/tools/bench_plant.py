"""Invented plants and loops that several tests share (a veneer press's bags)."""

from host_sim.law.controller import Controller
from host_sim.law.quantise import quantise
from host_sim.law.settings import (
    Command,
    Gains,
    LawSettings,
    Measurement,
    Output,
    Pid,
    SupplyCompensation,
)
from host_sim.loop.loop import Loop
from host_sim.plant.channel import ChannelState
from host_sim.plant.gas import flow_function
from host_sim.plant.plant import Plant
from host_sim.plant.settings import (
    Booster,
    ChainPlant,
    Channel,
    DirectPlant,
    DirectValve,
    PilotLag,
    PlantSettings,
    Restriction,
    Sensing,
    Supply,
    Volume,
)

ATMOSPHERE_PA = 101_325.0
LOW_PA, SPAN_PA = ATMOSPHERE_PA, 6e5
SUPPLY_PA = 9e5
UNIT_C = 1e-8  # dm3/(s bar) in m3/(s Pa)
CURRENT = Channel(0.0, 25.0, bits=None)
SENSING = Sensing(
    pressure=Channel(LOW_PA - 0.1 * SPAN_PA, LOW_PA + 1.2 * SPAN_PA, bits=None),
    supply=Channel(0.0, 2 * SUPPLY_PA, bits=None),
)


def direct_plant(*, load_l=2.0, supply=None, hysteresis=0.0, lag_s=0.02, bleed=None):
    """Arrangement A: a proportional valve on an air bag."""
    return PlantSettings(
        DirectPlant(
            valve=DirectValve(
                fill=Restriction(1.0 * UNIT_C),
                exhaust=Restriction(1.0 * UNIT_C),
                lag_s=lag_s,
                hysteresis=hysteresis,
            ),
            load=Volume(load_l * 1e-3, ATMOSPHERE_PA),
            supply=supply or Supply(SUPPLY_PA),
            bleed=Restriction(bleed * UNIT_C) if bleed else None,
        ),
        sensing=SENSING,
    )


def chain_plant(*, load_l=4.0, pilot_lag_s=0.15, full_opening_pa=0.2e5, hysteresis=0.0):
    """Arrangement B: a proportional pilot in front of a booster."""
    return PlantSettings(
        ChainPlant(
            supply=Supply(SUPPLY_PA),
            pilot=PilotLag(LOW_PA, LOW_PA + SPAN_PA, pilot_lag_s, ATMOSPHERE_PA),
            booster=Booster(
                full_opening_pa=full_opening_pa,
                hysteresis=hysteresis,
                fill=Restriction(4 * UNIT_C),
                exhaust=Restriction(4 * UNIT_C),
                lag_s=0.02,
            ),
            outlet=Volume(0.3e-3, ATMOSPHERE_PA),
            tube=Restriction(6 * UNIT_C),
            load=Volume(load_l * 1e-3, ATMOSPHERE_PA),
        ),
        sensing=SENSING,
    )


def law_settings(gains, *, tick_s=0.01, strength=0.0, output=None, **pid):
    """Settings that fit the plants above."""
    channel = SENSING.pressure
    return LawSettings(
        tick_s=tick_s,
        command=Command(),
        measurement=Measurement(
            (
                (channel.low - LOW_PA) / SPAN_PA,
                (channel.high - LOW_PA) / SPAN_PA,
            )
        ),
        supply=SupplyCompensation(
            channel=(0.0, 2.0),
            zero=LOW_PA / SUPPLY_PA,
            span=SPAN_PA / SUPPLY_PA,
            strength=strength,
            flow=tuple(flow_function(k / 16, 0.3, 0.5) for k in range(17)),
        ),
        pid=Pid(gains=gains, **pid),
        output=output or Output(),
    )


def run_loop(plant, law, steps, seconds, tick_s=0.01):
    """Run a law on a plant; ``steps`` is [(time s, current mA)]."""
    loop = Loop(Plant(plant, tick_s), law, ChannelState(CURRENT, tick_s, 0))
    currents = []
    for tick in range(round(seconds / tick_s)):
        passed = [current for time_s, current in steps if time_s <= tick * tick_s]
        currents.append(passed[-1])
    return loop.run(currents)


def board(settings):
    """The integer controller of some settings."""
    return Controller(quantise(settings))


PLAIN_GAINS = Gains(2.0, 2.0)
