"""Mistakes in tuning: each is patched in, and a check of these tests must fail.

The check is the one that other tests here make of the right code; it passes first.
"""

from dataclasses import replace
from types import SimpleNamespace

import pytest
from tuning_bag import bag, bag_file, press
from tuning_checks import (
    check_at_rest,
    check_front,
    check_model_margin,
    check_rewritten,
    check_round_trip,
    check_scores,
    check_spreads,
)
from tuning_mistakes import make_mistake

from host_sim.law.settings import Gains
from host_sim.scenario.load import load_scenario
from host_sim.tune import choice as choices
from host_sim.tune import family, front, identified, rest, rewrite, trials
from host_sim.tune.choice import Choice
from host_sim.tune.models import FIRST, Model
from host_sim.tune.models_file import ModelFile
from host_sim.tune.trials import make_machines

CHOICE = Choice(8.0, 0.4, 0.01, 0.002, 0.2, 0.6, 0.0024, 0.3)
SLOW = replace(CHOICE, kc=0.3, ti_s=5.0)


def spreads(folder):
    scenario = press(folder)
    wide = replace(scenario.family, members=9)
    scenario = replace(scenario, family=wide)
    check_spreads(scenario, family.make_family(scenario))


def scores(folder):
    scenario = bag(folder)
    machines = make_machines(family.make_family(scenario)[:2])
    for choice in (CHOICE, SLOW):
        check_scores(choice.law(scenario.law), machines)


def at_rest(folder):
    play = 'lag = "20 ms"\nhysteresis = "4 %"\n\n[valve.fill]'
    scenario = bag(folder, ('lag = "20 ms"\n\n[valve.fill]', play))
    pid = replace(scenario.law.pid, gains=Gains(6.0, 12.0), deadband=0.0)
    law = replace(scenario.law, pid=replace(pid, deadband_hysteresis=0.0))
    check_at_rest(scenario, law, rest.make_resting(scenario))


def round_trip(folder):
    check_round_trip(CHOICE, bag(folder).law)


def rewritten(folder):
    path = bag_file(folder / "bag.toml")
    law = CHOICE.law(load_scenario(path).law)
    check_rewritten(path, law, folder / "tuned.toml")


def fronts(folder):
    names = ("settling_s", "overshoot", "travel")
    rows = ((2, 1, 1), (1, 1, 1), (1, 2, 1))
    check_front([SimpleNamespace(**dict(zip(names, row, strict=True))) for row in rows])


def margins(folder):
    model = Model(FIRST, 7e5, 0.07, 0.2)
    held = ModelFile("step.csv", "drive", "1", model, {}, (0.3, 0.5), (3e5, 4e5))
    check_model_margin(press(folder), held, 1.0)


MISTAKES = {
    "absolute supply scaled, not gauge": (
        spreads,
        family,
        "_supplied",
        "air.atmosphere_pa + stronger * (pressure_pa - air.atmosphere_pa)",
        "stronger * pressure_pa",
    ),
    "volume spread twice": (
        spreads,
        family,
        "_built",
        "larger = 1.0 + differs.get(LOAD, 0.0)",
        "larger = 1.0 + 2.0 * differs.get(LOAD, 0.0)",
    ),
    "steps that do not settle count as their window": (
        scores,
        trials,
        "score",
        "length_s * np.clip(bands_away, 1.0, LATEST)",
        "length_s",
    ),
    "the last step's travel alone": (
        scores,
        trials,
        "score",
        "np.maximum(travel, step.travel_strokes)",
        "step.travel_strokes",
    ),
    "the mean machine instead of the worst": (
        scores,
        trials.Scores,
        "worst",
        "part.max(axis=1)",
        "part.mean(axis=1)",
    ),
    "every command read as reversed": (
        at_rest,
        rest,
        "_resting",
        "asked = 1.0 - share if command.reverse else share",
        "asked = 1.0 - share",
    ),
    "watched from the first tick": (
        at_rest,
        rest,
        "_resting",
        "Window(step_ticks, watched,",
        "Window(0, watched,",
    ),
    "tracking time forgotten": (
        round_trip,
        choices.Choice,
        "law",
        "tracking_s=max(self.tracking_s, base.tick_s),",
        "",
    ),
    "supply compensation forgotten": (
        rewritten,
        rewrite,
        "retuned_text",
        'supply["strength"] = f"{_number(100 * law.supply.strength)} %"',
        "pass",
    ),
    "seconds for the integral gain": (
        rewritten,
        rewrite,
        "_gains",
        "_number(gains.ki_per_s)",
        "_number(gains.ti_s)",
    ),
    "equals beat each other": (
        fronts,
        front,
        "_beaten",
        "no_worse & better",
        "no_worse",
    ),
    "model not scaled to the range": (
        margins,
        identified,
        "identified",
        "gain=held.model.gain / (high_pa - low_pa)",
        "gain=held.model.gain / high_pa",
    ),
    "computing delay forgotten": (
        margins,
        identified,
        "identified",
        "open_loop(trial.plant, trial.channel, trial.law, late)",
        "open_loop(trial.plant, trial.channel, trial.law)",
    ),
}


@pytest.mark.parametrize("name", MISTAKES)
def test_tuning_mistake_is_caught(name, tmp_path, monkeypatch):
    check, *mistake = MISTAKES[name]
    check(tmp_path)
    make_mistake(monkeypatch, *mistake)
    with pytest.raises(AssertionError):
        check(tmp_path)
