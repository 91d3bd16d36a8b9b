"""Scenario files: the shipped ones, and what their keys become."""

import dataclasses
import math
import tomllib

import pytest
from scenario_texts import BAG, CHAMBER_PRESS, PRESS

from host_sim.errors import InputError
from host_sim.law.settings import INFINITE, Gains, ValvePairDrive
from host_sim.plant.settings import ChainPlant, DirectPlant, PilotLag, PilotVolume
from host_sim.scenario.load import load_scenario, shipped_scenario_path

SHIPPED = ("veneer_press.toml", "veneer_press_us.toml", "press_bag_recorded.toml")


def leaves(thing, path=""):
    if dataclasses.is_dataclass(thing):
        for field in dataclasses.fields(thing):
            yield from leaves(getattr(thing, field.name), f"{path}.{field.name}")
    elif isinstance(thing, tuple):
        for index, part in enumerate(thing):
            yield from leaves(part, f"{path}[{index}]")
    else:
        yield path, thing


@pytest.mark.parametrize("name", SHIPPED)
def test_load_shipped_scenarios_are_read_and_say_they_are_invented(name):
    path = shipped_scenario_path(name)
    scenario = load_scenario(path)
    assert "invented" in path.read_text(encoding="utf-8").lower()
    assert "invented" in scenario.title
    assert scenario.ticks * scenario.law.tick_s == pytest.approx(scenario.duration_s)


def test_load_unknown_shipped_name_lists_those_there_are():
    with pytest.raises(InputError, match=r"veneer_press_us\.toml") as caught:
        shipped_scenario_path("press.toml")
    assert "\n" not in str(caught.value)


def test_load_press_has_the_values_of_its_file():
    scenario = load_scenario(CHAMBER_PRESS)
    plant = scenario.plant.arrangement
    assert isinstance(plant, ChainPlant)
    assert isinstance(plant.pilot, PilotVolume)
    assert plant.supply.pressure_pa == 901_325.0
    assert plant.load.volume_m3 == 0.010
    assert plant.load.start_pressure_pa == 101_325.0
    assert plant.booster.fill.conductance_m3_s_pa == 4e-8
    assert plant.supply.volume.start_pressure_pa == 901_325.0
    assert scenario.pressure_range_pa == (101_325.0, 701_325.0)
    assert scenario.law.pid.gains == Gains.from_ideal(2.5, 20.0, 0.1)
    assert scenario.law.pid.derivative_filter_s == pytest.approx(0.01)
    assert scenario.law.pid.tracking_s == pytest.approx(math.sqrt(2.0))
    assert scenario.compute_delay_ticks == 1
    assert scenario.settle_band == pytest.approx(0.02)


def test_load_us_units_describe_the_same_machine():
    metric = load_scenario(shipped_scenario_path())
    us = load_scenario(shipped_scenario_path("veneer_press_us.toml"))
    for part in ("plant", "law", "profile", "pressure_range_pa", "current_channel"):
        ours = dict(leaves(getattr(metric, part)))
        theirs = dict(leaves(getattr(us, part)))
        assert ours.keys() == theirs.keys()
        for path, value in ours.items():
            if isinstance(value, float):
                assert theirs[path] == pytest.approx(value, rel=2e-6), path
            else:
                assert theirs[path] == value, path
    assert (us.pressure_unit, us.flow_unit) == ("psi gauge", "SCFM")


def test_load_calibration_follows_sensor_and_range(load):
    scenario = load(PRESS)
    channel = scenario.law.measurement.channel
    sensor = scenario.plant.sensing.pressure
    low_pa, high_pa = scenario.pressure_range_pa
    for fraction, pressure_pa in zip(channel, (sensor.low, sensor.high), strict=True):
        assert low_pa + fraction * (high_pa - low_pa) == pytest.approx(pressure_pa)
    supply = scenario.law.supply
    assert supply.zero * 901_325.0 == pytest.approx(low_pa)
    assert (supply.zero + supply.span) * 901_325.0 == pytest.approx(high_pa)
    assert supply.channel[1] * 901_325.0 == pytest.approx(1_101_325.0)
    assert supply.lost * 901_325.0 == pytest.approx(301_325.0)
    assert scenario.law.command.channel_ma == (0.0, 25.0)


def test_load_supply_flow_function_is_the_filling_valves(load):
    # ISO 6358 ellipse at r = 0.5 and b = 0.3: 0.958315, second-hand.
    assert load(PRESS).law.supply.flow[8] == pytest.approx(0.958315, abs=5e-7)
    changed = load(PRESS, ("[supply_compensation]", "[supply_compensation]\nindex = 1"))
    assert changed.law.supply.flow[8] == pytest.approx(0.958315**2, abs=2e-6)
    direct = load(BAG, ('"1.5 dm3/(s.bar)"', '"1.5 dm3/(s.bar)"\ncritical_ratio = 0.5'))
    assert direct.law.supply.flow[8] == 1.0


def test_load_direct_arrangement_and_parallel_gains():
    scenario = load_scenario(shipped_scenario_path("press_bag_recorded.toml"))
    assert isinstance(scenario.plant.arrangement, DirectPlant)
    assert scenario.law.pid.gains == Gains(6.0, 0.5, 0.0)
    assert scenario.law.pid.tracking_s == 1.0
    assert scenario.law.pid.deadband == pytest.approx(0.01 / 6.0)
    assert list(scenario.gain_sets) == ["proportional", "quick"]
    assert scenario.gain_sets["quick"] == Gains.from_ideal(9.0, 8.0, 0.05)
    assert scenario.gain_sets["proportional"].ti_s == INFINITE
    assert any("gap" in note for note in scenario.notes)


def test_load_other_pilot_and_other_drive(load):
    start = PRESS.index("# A small chamber")
    stop = PRESS.index("[booster]")
    pilot = """[pilot.lag]
low = "0 bar gauge"
high = "6.5 bar gauge"
lag = "80 ms"

"""
    text = PRESS[:start] + pilot + PRESS[stop:]
    drive = '[drive.valve_pair]\nminimum_on = "2 ms"\ndead_time = "1 ms"'
    scenario = load(text, ("[drive.proportional]", drive))
    lag = scenario.plant.arrangement.pilot
    assert lag == PilotLag(101_325.0, 751_325.0, 0.08, 101_325.0)
    assert scenario.law.drive == ValvePairDrive(0.002, 0.001)


def test_load_tracking_default_follows_the_controller(load):
    no_derivative = load(PRESS, ('td = "0.1 s"', ""))
    assert no_derivative.law.pid.tracking_s == pytest.approx(10.0)
    no_integral = load(PRESS, ('ti = "20 s"', 'ti = "none"'))
    assert no_integral.law.pid.tracking_s == INFINITE
    conditional = load(PRESS, ("[controller]", "[controller]\nconditional = true"))
    assert conditional.law.pid.tracking_s == INFINITE


def test_load_derivative_divisor_and_hold(load):
    scenario = load(
        PRESS,
        (
            "[controller]",
            "[controller]\nderivative_divisor = 5\n"
            'hold = [["0 %", "1 %"], ["100 %", "5 %"]]',
        ),
    )
    assert scenario.law.pid.derivative_filter_s == pytest.approx(0.02)
    assert scenario.law.pid.hold == ((0.0, 0.01), (1.0, 0.05))


def test_load_split_range_and_reverse(load):
    command = '[command]\nstart = "4 mA"\nend = "12 mA"\nreverse = true\n\n[controller]'
    scenario = load(PRESS, ("[controller]", command))
    assert (scenario.law.command.start_ma, scenario.law.command.end_ma) == (4.0, 12.0)
    assert scenario.law.command.reverse


def test_load_ideal_converter(load):
    scenario = load(BAG, ('drift = "5 mbar/h"', 'bits = "ideal"'))
    assert scenario.plant.sensing.pressure.bits is None
    assert scenario.plant.sensing.supply.bits == 12


def test_load_shipped_files_are_plain_toml():
    for name in SHIPPED:
        assert tomllib.loads(shipped_scenario_path(name).read_text(encoding="utf-8"))


def test_load_notes_say_what_a_tube_of_known_size_counts_as(load):
    known = '[tube]\nconductance = "6 dm3/(s.bar)"\ncritical_ratio = "0.25"'
    scenario = load(PRESS, (known, '[tube]\nlength = "3 m"\ninner_diameter = "8 mm"'))
    assert any(note.startswith("tube: 3 m of 8 mm") for note in scenario.notes)
