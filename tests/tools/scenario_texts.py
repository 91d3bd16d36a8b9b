"""Scenario files that tests change: a press with a pilot chamber, one bag."""

from pathlib import Path

from host_sim.scenario.load import shipped_scenario_path

CHAMBER_PRESS = Path(__file__).with_name("press_with_chamber.toml")
PRESS = CHAMBER_PRESS.read_text(encoding="utf-8")
BAG = (
    shipped_scenario_path("press_bag_recorded.toml")
    .read_text(encoding="utf-8")
    .replace('recording = "recorded_command.csv"', 'steps = [["0 s", "8 mA"]]')
)
