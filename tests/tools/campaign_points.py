"""Quick questions to a point, where worker processes can import them."""

import time
from dataclasses import replace

from host_sim.campaign.point import Campaign
from host_sim.campaign.space import Grid, LogUniform, Normal, Space, Uniform
from host_sim.scenario.load import load_scenario, shipped_scenario_path

VOLUME = "plant.arrangement.load.volume_m3"
GAIN = "law.pid.gains.kp"
SUPPLY = "plant.arrangement.supply.pressure_pa"
BITS = "plant.sensing.pressure.bits"


def ask(scenario):
    return {
        "volume_l": 1000 * scenario.plant.arrangement.load.volume_m3,
        "gain_by_supply": scenario.law.pid.gains.kp
        / scenario.plant.arrangement.supply.pressure_pa,
        "noise_seed_low": float(scenario.plant.sensing.seed % 1000),
    }


def ask_slowly(scenario):
    time.sleep(0.03)
    return ask(scenario)


def ask_and_stumble(scenario):
    if scenario.plant.arrangement.load.volume_m3 > 0.006:
        raise ZeroDivisionError("a made\nup fault")
    return ask(scenario)


def ask_for_nonsense(scenario):
    return {"volume_l": "no number"}


def campaign(evaluate=ask, samples=16, seed=5, **axes):
    space = Space(
        {
            VOLUME: LogUniform(0.003, 0.012),
            GAIN: Uniform(0.5, 3.0),
            SUPPLY: Normal(9e5, 3e4, 8.2e5, 1e6),
            BITS: Grid((10, 12, 14)),
        }
        | axes,
        samples,
        seed,
    )
    return Campaign(short_scenario(), space, evaluate)


def short_scenario():
    """One step of the shipped press, 2 s long."""
    scenario = load_scenario(shipped_scenario_path())
    return replace(scenario, duration_s=2.0, ticks=200)
