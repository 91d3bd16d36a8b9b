"""Volume, conductances and valve lag of arrangement A, from recorded steps.

The truth is the simulator's own plant on a grid ten times finer than the rows,
steps anywhere between rows, rows jittering by a fifth of their interval, noise
0.5 % of the pressure's travel. Within 3 %, as the task asks.
"""

import os
from dataclasses import replace
from typing import get_args

import numpy as np
import pytest
from bag_records import bag, bag_record
from identify_records import as_record

from host_sim.cli.identify import KNOWN
from host_sim.errors import InputError
from host_sim.scenario.load import load_scenario, shipped_scenario_path
from host_sim.tune.identify_plant import fit_plant
from host_sim.tune.identify_plant_search import Known
from host_sim.tune.identify_report import learn, lesson_as_dict
from host_sim.tune.record import Signal

MANY = os.environ.get("HYPOTHESIS_PROFILE") in ("ci", "deep")
DRAWS, HELD = (60, 0.93) if MANY else (2, 1.0)
ENOUGH = 0.03

TRUE = {"volume_m3": 0.02, "fill_m3_s_pa": 2.4e-8, "exhaust_m3_s_pa": 3e-8}
WRONG = {"volume_m3": 0.05, "fill_m3_s_pa": 1.1e-8, "exhaust_m3_s_pa": 9e-8}
METERED = ((0.0, 0.0), (4.6, 2e-3))
"""From 4.6 s on a metered consumption [s], [kg/s]."""


def bag_of(numbers, consumption=()):
    return bag(
        numbers["volume_m3"],
        numbers["fill_m3_s_pa"],
        numbers["exhaust_m3_s_pa"],
        consumption=consumption,
    )


@pytest.mark.parametrize(
    ("known", "given"),
    [
        ("volume", ("volume_m3",)),
        ("conductance", ("fill_m3_s_pa",)),
        ("consumption", ()),
    ],
)
def test_plant_is_recovered_from_what_is_known(known, given):
    consumption = METERED if known == "consumption" else ()
    record = bag_record(bag_of(TRUE, consumption), np.random.default_rng(6))
    guess = bag_of({**WRONG, **{name: TRUE[name] for name in given}}, consumption)
    fit = fit_plant(record, guess, known)
    assert set(fit.numbers) == {
        "fill_per_volume_1_s_pa",
        "exhaust_per_volume_1_s_pa",
        "valve_lag_s",
        *(name for name in TRUE if name not in given),
    }
    for name in set(TRUE) - set(given):
        assert fit.numbers[name] == pytest.approx(TRUE[name], rel=ENOUGH)
    assert fit.numbers["fill_per_volume_1_s_pa"] == pytest.approx(1.2e-6, rel=ENOUGH)
    assert fit.numbers["exhaust_per_volume_1_s_pa"] == pytest.approx(1.5e-6, rel=ENOUGH)
    low_s, high_s = fit.intervals["valve_lag_s"]
    assert low_s <= 0.02 <= high_s
    assert fit.notes == ()


def test_plant_intervals_hold_the_truth_of_drawn_records():
    random, held = np.random.default_rng(8), 0
    for _ in range(DRAWS):
        volume_m3 = random.uniform(0.005, 0.03)
        fill, exhaust = volume_m3 * random.uniform(5e-7, 2.5e-6, 2)
        lag_s = random.uniform(0.0, 0.06)
        true = bag(volume_m3, fill, exhaust, lag_s)
        record = bag_record(true, random, noise=random.uniform(0.0, 0.02))
        guess = bag(volume_m3, 2.0 * fill, 0.6 * exhaust, 0.03)
        intervals = fit_plant(record, guess).intervals
        truth = {"fill_m3_s_pa": fill, "exhaust_m3_s_pa": exhaust, "valve_lag_s": lag_s}
        held += all(
            intervals[name][0] <= number <= intervals[name][1]
            for name, number in truth.items()
        )
    assert held / DRAWS >= HELD


def test_plant_that_is_twice_as_large_everywhere_moves_just_the_same():
    records = []
    for size in (1.0, 2.0):
        scenario = bag_of({name: size * number for name, number in TRUE.items()})
        plant = scenario.plant.arrangement
        # Only what does not scale, bleed and heat through the wall, tells them apart.
        tight = replace(
            plant, bleed=None, load=replace(plant.load, thermal="isothermal")
        )
        alike = replace(scenario, plant=replace(scenario.plant, arrangement=tight))
        records.append(bag_record(alike, np.random.default_rng(2), noise=0.0))
    assert records[0].pressure_pa == pytest.approx(records[1].pressure_pa, rel=1e-9)


def test_plant_without_venting_keeps_the_scenarios_exhaust_and_says_so():
    drives = (0.0, 0.1, 0.0, 0.08, 0.0, 0.05)
    record = bag_record(bag_of(TRUE), np.random.default_rng(3), drives=drives)
    fit = fit_plant(record, bag_of(TRUE))
    assert "exhaust_m3_s_pa" not in fit.numbers
    assert any("never vents" in note for note in fit.notes)


def test_plant_with_a_wrong_supply_says_that_it_misses():
    # A choked fill shows the supply only as a factor on the valve; near the supply
    # the curve bends.
    scenario, drives = bag_of(TRUE), (0.0, 0.8, 0.0, -0.5, 0.0, 0.3)
    record = bag_record(scenario, np.random.default_rng(3), drives=drives)
    plant = scenario.plant.arrangement
    supply_pa = float(record.pressure_pa.max()) + 2e4
    starved = replace(plant, supply=replace(plant.supply, pressure_pa=supply_pa))
    guess = replace(scenario, plant=replace(scenario.plant, arrangement=starved))
    fit = fit_plant(record, guess)
    assert any("check supply" in note for note in fit.notes)
    # A recorded supply goes before the scenario's.
    supplied = replace(record, supply_pa=np.full(len(record.time_s), 9.01325e5))
    assert fit_plant(supplied, guess).numbers["fill_m3_s_pa"] == pytest.approx(
        TRUE["fill_m3_s_pa"], rel=ENOUGH
    )


def test_plant_is_found_in_a_record_without_a_linear_answer():
    record = bag_record(bag_of(TRUE), np.random.default_rng(4))
    early = record.time_s < 1.5
    part = as_record(
        record.time_s[early], record.input[early], record.pressure_pa[early]
    )
    lesson = learn(replace(part, input=part.input * 1.0), scenario=bag_of(TRUE))
    report = lesson_as_dict(lesson)
    assert report["plant"]["fill_m3_s_pa"] == pytest.approx(2.4e-8, rel=ENOUGH)
    if lesson.linear is None:
        assert any(
            note.startswith("linear model refused: ") for note in report["notes"]
        )


def refused(record, scenario, known="volume"):
    with pytest.raises(InputError) as caught:
        fit_plant(record, scenario, known)
    assert "\n" not in str(caught.value)
    return str(caught.value)


def test_plant_refusals_name_the_remedy():
    scenario = bag_of(TRUE)
    record = bag_record(scenario, np.random.default_rng(3))
    press = load_scenario(shipped_scenario_path())
    assert "leave the scenario out" in refused(record, press)
    current = replace(record, signal=Signal("current [mA]", "current"))
    assert "no valve drive within +-100 %" in refused(current, scenario)
    assert "no valve drive" in refused(
        replace(record, input=20 * record.input), scenario
    )
    still = replace(record, input=0.0 * record.input)
    assert "no step" in refused(still, scenario)
    high = replace(record, pressure_pa=record.pressure_pa + 8e5)
    assert "saturated sensor" in refused(high, scenario)
    sealed = replace(scenario.plant.arrangement, bleed=None)
    tight = replace(scenario, plant=replace(scenario.plant, arrangement=sealed))
    assert "nothing known sets the scale" in refused(record, tight, "consumption")


def test_known_words_of_the_command_are_those_of_the_search():
    assert get_args(Known) == KNOWN
