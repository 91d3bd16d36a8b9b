"""The shipped record of the invented press, made by the project's own simulator.

``python tests/tools/press_record.py`` writes it anew.
"""

from pathlib import Path

import numpy as np

from host_sim.plant.plant import Plant
from host_sim.scenario.load import load_scenario, shipped_scenario_path
from host_sim.tune.models import HeldInput

RECORD = shipped_scenario_path().with_name("veneer_press_steps.csv")

PROVENANCE = (
    "# Invented: the veneer press of veneer_press.toml, driven open loop, as made by",
    "# this project's own simulator; the pressure is its sensor's, with noise on top.",
    "# No real press, firm or part stands behind these numbers.",
)
TICK_S = 0.002
INTERVAL_S = 0.02
JITTER_S = 0.004
DURATION_S = 16.0
SETTLING_S = 8.0
NOISE_PA = 400.0
SEED = 20
STEPS_S = (2.013, 5.507, 9.004, 12.509)
DRIVES = (0.40, 0.43, 0.40, 0.37, 0.40)


def record_text():
    """Drive the settled press open loop; log it as a cheap logger would."""
    scenario = load_scenario(shipped_scenario_path())
    plant = Plant(scenario.plant, TICK_S)
    channel = scenario.plant.sensing.pressure
    for _ in range(round(SETTLING_S / TICK_S)):
        plant.sense()
        plant.advance(DRIVES[0])
    held = HeldInput(np.array(STEPS_S), np.array(DRIVES))
    times_s = TICK_S * np.arange(round(DURATION_S / TICK_S))
    drives = held.at(times_s)
    readings_pa = []
    for drive in drives.tolist():
        counts, _ = plant.sense()
        readings_pa.append(channel.low + counts / 32767 * (channel.high - channel.low))
        plant.advance(drive)
    random = np.random.default_rng(SEED)
    ticks = np.arange(0.0, DURATION_S - INTERVAL_S, INTERVAL_S)
    ticks += JITTER_S * random.uniform(-1.0, 1.0, len(ticks)) * (ticks > 0.0)
    rows = np.round(ticks / TICK_S).astype(int)
    shown_bar = (np.array(readings_pa)[rows] - scenario.basis.atmosphere_pa) / 1e5
    shown_bar += NOISE_PA / 1e5 * random.standard_normal(len(rows))
    lines = [*PROVENANCE, "Time [s];Drive [%];Load pressure [bar gauge]"]
    lines += [
        f"{times_s[row]:.3f};{100 * drives[row]:.1f};{bar:.3f}".replace(".", ",")
        for row, bar in zip(rows, shown_bar, strict=True)
    ]
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    Path(RECORD).write_text(record_text(), encoding="utf-8")
