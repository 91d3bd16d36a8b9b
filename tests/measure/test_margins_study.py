"""A scenario's margins: what is counted, where, and what is said about it."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scenario_texts import BAG

from host_sim.errors import InputError
from host_sim.law.quantise import quantise
from host_sim.law.read_back import read_back
from host_sim.law.settings import Gains
from host_sim.measure.frequency import loop_margins
from host_sim.measure.margin_study import (
    consumption_at_start,
    linear_plants,
    margin_study,
    margin_study_as_dict,
)
from host_sim.plant.settings import Consumption
from host_sim.scenario.load import load_scenario, shipped_scenario_path


@pytest.fixture(scope="module")
def press():
    return load_scenario(shipped_scenario_path())


@pytest.fixture
def bag(tmp_path):
    def load(*replacements):
        text = BAG
        for old, new in replacements:
            assert text.count(old) == 1, old
            text = text.replace(old, new)
        path = tmp_path / "bag.toml"
        path.write_text(text, encoding="utf-8")
        return load_scenario(path)

    return load


NO_BLEED = ('[load.bleed]\nconductance = "0.01 dm3/(s.bar)"\n', "")


def with_gains(scenario, **changes):
    law = replace(scenario.law, pid=replace(scenario.law.pid, **changes))
    return replace(scenario, law=law)


def test_study_measures_the_loop_that_the_board_closes(press):
    study = margin_study(press, [0.5])
    (point,) = study.points
    kept = read_back(quantise(press.law))
    assert study.law == kept
    assert point.margins == loop_margins(
        point.plant, press.plant.sensing.pressure, kept, press.compute_delay_ticks
    )
    # The loop gain for figures is that of the margins.
    gain = point.loop_gain(np.array([point.margins.phase_crossover_rad_s]))[0]
    assert -1.0 / gain.real == pytest.approx(point.margins.gain_margin, rel=1e-9)


def with_channel(scenario, **changes):
    sensing = scenario.plant.sensing
    sensing = replace(sensing, pressure=replace(sensing.pressure, **changes))
    return replace(scenario, plant=replace(scenario.plant, sensing=sensing))


def test_each_delay_and_filter_of_the_loop_is_counted(press):
    frequency, h = 10.0, press.law.tick_s

    def gain(scenario):
        point = margin_study(scenario, [0.5]).points[0]
        return point.loop_gain(np.array([frequency]))[0]

    def filtered(filter_s):
        back = np.exp(-1j * frequency * h)
        return h / (filter_s + h - filter_s * back)

    late = np.exp(-1j * frequency * h)
    base = gain(press)
    assert gain(replace(press, compute_delay_ticks=2)) == pytest.approx(late * base)
    assert gain(with_channel(press, delay_s=h)) == pytest.approx(late * base)
    measurement = replace(press.law.measurement, filter_s=0.03)
    slower = replace(press, law=replace(press.law, measurement=measurement))
    ratio = filtered(0.03) / filtered(0.01)
    assert gain(slower) == pytest.approx(ratio * base, rel=1e-3)
    # Behind the hold a lag is one but for what happens within the tick.
    lags = (1.0 + 0.01j * frequency) / (1.0 + 0.02j * frequency)
    assert gain(with_channel(press, lag_s=0.02)) == pytest.approx(lags * base, rel=0.01)


def test_points_without_flow_have_a_row_for_each_way(bag):
    study = margin_study(bag(NO_BLEED), [0.3, 0.7])
    assert [point.name for point in study.points] == [
        *("30 %, fill", "30 %, vent", "70 %, fill", "70 %, vent")
    ]
    # At 30 % the bag fills under 6 bar of difference and vents under 1.8.
    fill, vent = study.points[:2]
    assert fill.margins.gain_crossover_rad_s > 2.0 * vent.margins.gain_crossover_rad_s
    assert any("a row each" in note for note in study.notes)
    assert not any("slope of the fill side" in note for note in study.notes)


def test_points_with_flow_have_one_row_and_are_said_to_be_nearly_shut(bag):
    study = margin_study(bag(), [0.5])
    assert [point.name for point in study.points] == ["50 %"]
    assert any("0.3 % open at rest" in note for note in study.notes)


def test_study_says_that_play_and_dead_band_do_not_count(press):
    notes = margin_study(press, [0.5]).notes
    assert "small movements about rest" in notes[0]
    assert "no dead band" in notes[0]
    assert any("play" in note for note in notes[1:])


def test_study_warns_of_little_reserve_and_names_the_worst_point(press):
    study = margin_study(press, [0.1, 0.5])
    assert study.worst.name == "50 %"
    assert any("leaves little reserve" in note for note in study.notes)
    calm = margin_study(with_gains(press, gains=Gains(0.4, 1.0)), [0.5])
    assert calm.worst.margins.ms < 2.0
    assert not any("reserve" in note for note in calm.notes)


def test_study_says_where_the_loop_is_unstable(press):
    study = margin_study(with_gains(press, gains=Gains(4.0, 1.0, 0.12)), [0.5])
    assert not study.worst.margins.stable
    assert any("UNSTABLE" in note for note in study.notes)


def test_study_uses_the_consumption_that_the_script_begins_with(press):
    arrangement = press.plant.arrangement
    scripted = Consumption(((0.0, 1e-3), (2.0, 5e-3)))
    scenario = replace(
        press,
        plant=replace(
            press.plant, arrangement=replace(arrangement, consumption=scripted)
        ),
    )
    assert consumption_at_start(scenario) == 1e-3
    late = replace(arrangement, consumption=Consumption(((1.0, 1e-3),)))
    later = replace(press, plant=replace(press.plant, arrangement=late))
    assert consumption_at_start(later) == 0.0


def test_study_as_dict_has_units_in_its_keys(press):
    report = margin_study_as_dict(margin_study(press, [0.5]))
    (point,) = report["points"]
    assert point["at_percent"] == 50.0
    assert point["load_pa"] == pytest.approx(401_325.0)
    assert point["gain_margin_db"] == pytest.approx(
        20.0 * math.log10(point["gain_margin"])
    )
    assert report["derivative_filter_s"] == pytest.approx(0.008, rel=1e-3)


@pytest.mark.parametrize("share", [-0.1, 1.1, math.nan])
def test_study_refuses_a_point_outside_the_range(press, share):
    with pytest.raises(InputError, match=r"must be 0 \.\.\. 100 %"):
        linear_plants(press, share)


def test_study_names_the_point_where_the_plant_cannot_rest(bag):
    scenario = bag(('"8 bar gauge"\nchanges', '"4 bar gauge"\nchanges'))
    with pytest.raises(InputError, match="operating point 80 %: load_pa"):
        linear_plants(scenario, 0.8)
