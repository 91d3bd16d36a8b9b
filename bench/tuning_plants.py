"""Ten invented machines to tune: the veneer press's bags, on valves and boosters."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from host_sim.scenario.load import Scenario, load_scenario

SEED = 90_125
DRAWN = 10
THERMALS = ("isothermal", "polytropic", "adiabatic", "wall")
TICKS_MS = (5, 10, 10, 20)
ATMOSPHERE_BAR = 1.013
WINDOW_STROKES = 2.5
"""Length of a step over the time that the open valve needs for it."""
SHORTEST_WINDOW_S = 3.0


@dataclass(frozen=True)
class Draw:
    """Numbers of one machine that its text is made of."""

    thermal: str
    tick_ms: int
    supply_bar: float
    top_bar: float
    volume_l: float
    fill: float
    exhaust: float
    levels: tuple[float, float, float]


def draw(number: int) -> tuple[Draw, np.random.Generator]:
    """Draw what both arrangements have; the generator goes on from there."""
    random = np.random.default_rng((SEED, number))
    top_bar = float(random.uniform(4.0, 7.0))
    fill = _log(random, 0.6, 4.0)
    drawn = Draw(
        thermal=THERMALS[number // 2 % len(THERMALS)],
        tick_ms=TICKS_MS[int(random.integers(len(TICKS_MS)))],
        supply_bar=top_bar + float(random.uniform(1.5, 3.0)),
        top_bar=top_bar,
        volume_l=fill * _log(random, 0.7, 4.0),
        fill=fill,
        exhaust=fill * float(random.uniform(0.4, 1.1)),
        levels=(
            float(random.uniform(40.0, 60.0)),
            float(random.uniform(70.0, 90.0)),
            float(random.uniform(20.0, 35.0)),
        ),
    )
    return drawn, random


def _log(random: np.random.Generator, low: float, high: float) -> float:
    return float(np.exp(random.uniform(np.log(low), np.log(high))))


def scenario_text(number: int) -> str:
    """Write a machine as a scenario file; even numbers have one valve."""
    drawn, random = draw(number)
    built = _direct(drawn, random) if number % 2 == 0 else _chain(drawn, random)
    return "\n".join([_common(number, drawn, random), built])


def _common(number: int, drawn: Draw, random: np.random.Generator) -> str:
    window_s = _window_s(drawn)
    currents = [4.0 + 0.16 * level for level in drawn.levels]
    starts_s = [0.5 + k * window_s for k in range(3)]
    steps = ", ".join(
        f'["{start_s:.2f} s", "{current:.2f} mA"]'
        for start_s, current in zip(starts_s, currents, strict=True)
    )
    return f"""\
# Invented: no real press stands behind these numbers.
title = "Press bag {number} (invented)"

[run]
duration = "{0.5 + 3 * window_s:.2f} s"
tick = "{drawn.tick_ms} ms"
compute_delay_ticks = {int(random.integers(2))}
settle_band = "1 %"
seed = {number}

[profile]
steps = [["0 s", "4 mA"], {steps}]

[range]
low = "0 bar gauge"
high = "{drawn.top_bar:.2f} bar gauge"

[supply]
pressure = "{drawn.supply_bar:.2f} bar gauge"

[load]
volume = "{drawn.volume_l:.3g} L"
thermal = "{drawn.thermal}"
wall_conductance = "{random.uniform(0.5, 4.0):.2g} W/K"

[sensor.pressure]
low = "-0.5 bar gauge"
high = "{drawn.top_bar + 1.5:.2f} bar gauge"
bits = {int(random.integers(12, 16))}
noise = "{_log(random, 0.3, 3.0):.2g} mbar"
lag = "{_log(random, 4.0, 30.0):.2g} ms"

[sensor.supply]
low = "-0.5 bar gauge"
high = "12 bar gauge"
noise = "5 mbar"
lag = "10 ms"

[sensor.current]
bits = 14
noise = "1 uA"

[measurement]
filter = "{drawn.tick_ms * int(random.integers(2))} ms"

[controller]
deadband = "0.1 %"
deadband_hysteresis = "0.05 %"

[controller.ideal]
kc = 1
ti = "1 s"

[drive.proportional]
"""


def _window_s(drawn: Draw) -> float:
    """Allow each step several times what the open valve takes for the slowest."""
    supply_bar = drawn.supply_bar + ATMOSPHERE_BAR
    fill_bar_s = drawn.fill * supply_bar / drawn.volume_l
    low_bar = ATMOSPHERE_BAR + drawn.levels[2] / 100.0 * drawn.top_bar
    vent_bar_s = drawn.exhaust * low_bar / drawn.volume_l
    first, second, third = (level / 100.0 * drawn.top_bar for level in drawn.levels)
    slowest_s = max(first / fill_bar_s, (second - third) / vent_bar_s)
    return max(WINDOW_STROKES * slowest_s, SHORTEST_WINDOW_S)


def _direct(drawn: Draw, random: np.random.Generator) -> str:
    bleed = ""
    if random.random() < 0.5:
        bleed = f"""
[load.bleed]
conductance = "{drawn.fill * _log(random, 3e-3, 3e-2):.3g} dm3/(s.bar)"
"""
    return f"""\
[plant]
arrangement = "direct"

[valve]
lag = "{_log(random, 8.0, 40.0):.2g} ms"
hysteresis = "{random.uniform(0.0, 2.0):.2f} %"

[valve.fill]
conductance = "{drawn.fill:.3g} dm3/(s.bar)"
critical_ratio = {random.uniform(0.2, 0.45):.2f}

[valve.exhaust]
conductance = "{drawn.exhaust:.3g} dm3/(s.bar)"
{bleed}"""


def _chain(drawn: Draw, random: np.random.Generator) -> str:
    return f"""\
[plant]
arrangement = "chain"

[supply.line]
conductance = "{1.6 * drawn.fill:.3g} dm3/(s.bar)"

[supply.volume]
volume = "{drawn.volume_l * random.uniform(0.5, 1.5):.3g} L"
{_pilot(drawn, random)}
[booster]
full_opening = "{random.uniform(0.15, 0.5):.2f} bar"
dead_band = "{random.uniform(0.0, 5.0):.1f} %"
lag = "{_log(random, 8.0, 30.0):.2g} ms"
hysteresis = "{random.uniform(0.0, 6.0):.1f} %"

[booster.fill]
conductance = "{drawn.fill:.3g} dm3/(s.bar)"

[booster.exhaust]
conductance = "{drawn.exhaust:.3g} dm3/(s.bar)"

[outlet]
volume = "{drawn.volume_l * random.uniform(0.05, 0.15):.3g} L"

[tube]
conductance = "{drawn.fill * random.uniform(1.2, 2.5):.3g} dm3/(s.bar)"
critical_ratio = 0.25
"""


def _pilot(drawn: Draw, random: np.random.Generator) -> str:
    if random.random() < 0.5:
        return f"""
[pilot.lag]
low = "0 bar gauge"
high = "{drawn.top_bar + 1.0:.2f} bar gauge"
lag = "{_log(random, 40.0, 150.0):.2g} ms"
"""
    path = _log(random, 0.03, 0.12)
    return f"""
[pilot.chamber]
volume = "{random.uniform(20.0, 60.0):.3g} mL"

[pilot.chamber.fill]
conductance = "{path:.3g} dm3/(s.bar)"

[pilot.chamber.exhaust]
conductance = "{path * random.uniform(0.6, 1.2):.3g} dm3/(s.bar)"
"""


def load_machine(number: int, folder: Path) -> Scenario:
    """Write a machine's file into a folder and load it."""
    path = folder / f"press_bag_{number}.toml"
    path.write_text(scenario_text(number), encoding="utf-8")
    return load_scenario(path)
