"""Scenario files: the shipped ones, and every kind of bad one."""

import dataclasses
import math
import tomllib
from pathlib import Path

import pytest

from host_sim.errors import InputError
from host_sim.law.settings import INFINITE, Gains, ValvePairDrive
from host_sim.plant.settings import ChainPlant, DirectPlant, PilotLag, PilotVolume
from host_sim.scenario.load import load_scenario, shipped_scenario_path

SHIPPED = ("veneer_press.toml", "veneer_press_us.toml", "press_bag_recorded.toml")
CHAMBER_PRESS = Path(__file__).with_name("press_with_chamber.toml")
PRESS = CHAMBER_PRESS.read_text(encoding="utf-8")
BAG = shipped_scenario_path("press_bag_recorded.toml").read_text(encoding="utf-8")
BAG = BAG.replace('recording = "recorded_command.csv"', 'steps = [["0 s", "8 mA"]]')


@pytest.fixture
def load(tmp_path):
    def from_text(text, *changes):
        for old, new in changes:
            assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times"
            text = text.replace(old, new)
        path = tmp_path / "press.toml"
        path.write_text(text, encoding="utf-8")
        return load_scenario(path)

    return from_text


def refusal_of(load, text, *changes):
    with pytest.raises(InputError) as caught:
        load(text, *changes)
    message = str(caught.value)
    assert "\n" not in message
    assert "press.toml" in message
    assert "; " in message
    return message


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


BAD = {
    "misspelt key": (
        [('volume = "10 L"', 'volum = "10 L"')],
        ["load.volum:", "unknown key", "did you mean 'load.volume'?"],
    ),
    "misspelt table": (
        [("[booster.fill]", "[booster.fil]")],
        ["booster.fil:", "did you mean 'booster.fill'?"],
    ),
    "misspelt top table": (
        [("[outlet]", "[outlett]")],
        ["outlett:", "did you mean 'outlet'?"],
    ),
    "key at the wrong place": (
        [("[tube]", '[tube]\ntick = "5 ms"')],
        ["tube.tick:", "unknown key", "did you mean 'run.tick'?"],
    ),
    "key like no other": (
        [("[tube]", "[tube]\nzzz = 1")],
        ["tube.zzz:", "the keys here are", "conductance"],
    ),
    "key with a line break": (
        [("[tube]", '[tube]\n"a\\nb" = 1')],
        ["tube.a b:", "unknown key"],
    ),
    "missing unit": (
        [('volume = "10 L"', 'volume = "10"')],
        ["load.volume = '10'", "the unit is missing", "'2.5 L'"],
    ),
    "bare number": (
        [('volume = "10 L"', "volume = 10")],
        ["load.volume = 10", "the unit is missing", "'2.5 L'"],
    ),
    "wrong dimension": (
        [('volume = "10 L"', 'volume = "10 bar"')],
        ["load.volume = '10 bar'", "wrong dimension for a volume", "'2.5 L'"],
    ),
    "neither gauge nor absolute": (
        [('high = "6 bar gauge"', 'high = "6 bar"')],
        ["range.high = '6 bar'", "neither gauge nor absolute", "'bar gauge'"],
    ),
    "gauge below vacuum": (
        [('low = "0 bar gauge"', 'low = "-2 bar gauge"')],
        ["range.low = '-2 bar gauge'", "below vacuum", "-1.013 bar gauge"],
    ),
    "range below atmosphere": (
        [('low = "0 bar gauge"', 'low = "-0.2 bar gauge"')],
        ["range.low", "below air.atmosphere", "raise range.low"],
    ),
    "range upside down": (
        [('high = "6 bar gauge"', 'high = "0 bar gauge"')],
        ["range.high", "not above range.low", "raise range.high"],
    ),
    "negative volume": (
        [('volume = "10 L"', 'volume = "-10 L"')],
        ["load.volume = '-10 L'", "allowed range 1e-7 ... 1000 m3", "inside it"],
    ),
    "critical ratio above one": (
        [('critical_ratio = "0.25"', "critical_ratio = 1.25")],
        ["tube.critical_ratio = 1.25", "allowed range 0 ... 0.99", "inside it"],
    ),
    "negative critical ratio": (
        [('critical_ratio = "0.25"', 'critical_ratio = "-5 %"')],
        ["tube.critical_ratio = '-5 %'", "allowed range 0 ... 0.99"],
    ),
    "toml nan": (
        [('critical_ratio = "0.25"', "critical_ratio = nan")],
        ["tube.critical_ratio = nan", "not a finite number", "write for example"],
    ),
    "text nan": (
        [('volume = "10 L"', 'volume = "nan L"')],
        ["load.volume = 'nan L'", "not a finite number"],
    ),
    "negative gain": (
        [('kc = "2.5 %/%"', "kc = -2.5")],
        ["controller.ideal.kc = -2.5", "allowed range 0 ... 1000", "inside it"],
    ),
    "gain beyond all": (
        [('kc = "2.5 %/%"', "kc = 2500")],
        ["controller.ideal.kc = 2500", "allowed range 0 ... 1000"],
    ),
    "zero integral time": (
        [('ti = "20 s"', 'ti = "0 s"')],
        ["controller.ideal.ti = '0 s'", "allowed range 0.001 ... 100000 s"],
    ),
    "two forms of gains": (
        [
            (
                "[drive.proportional]",
                "[controller.parallel]\nkp = 1\n[drive.proportional]",
            )
        ],
        ["controller.parallel", "beside controller.ideal", "keep one"],
    ),
    "two derivative lags": (
        [
            (
                "[controller]",
                '[controller]\nderivative_filter = "1 s"\nderivative_divisor = 5',
            )
        ],
        ["controller.derivative_divisor", "beside controller.derivative_filter"],
    ),
    "no drive": (
        [("[drive.proportional]", "")],
        ["drive.proportional: missing", "drive.valve_pair", "the drive"],
    ),
    "missing key": (
        [('full_opening = "0.3 bar"', "")],
        ["booster.full_opening: missing", "write full_opening ="],
    ),
    "missing table": (
        [("[tube]", "[load.bleed]")],
        ["tube.conductance: missing", "write conductance ="],
    ),
    "number for a text": (
        [('title = "Veneer press (invented)"', "title = 3")],
        ["title = 3", "should be a text", "write for example"],
    ),
    "text for a flag": (
        [("[controller]", '[controller]\nconditional = "yes"')],
        ["controller.conditional = 'yes'", "should be a flag", "true"],
    ),
    "text for a whole number": (
        [("seed = 7", 'seed = "7"')],
        ["run.seed = '7'", "should be a whole number", "0 ... 2147483647"],
    ),
    "whole number out of range": (
        [("compute_delay_ticks = 1", "compute_delay_ticks = 2")],
        ["run.compute_delay_ticks = 2", "allowed range 0 ... 1"],
    ),
    "flag for a quantity": (
        [('volume = "10 L"', "volume = true")],
        ["load.volume = True", "not a quantity", "'2.5 L'"],
    ),
    "value for a table": (
        [("[outlet]\n", "[extra]\n"), ("[run]", "outlet = 5\n[run]")],
        ["outlet = 5", "should be a table", "[outlet]"],
    ),
    "not one of the words": (
        [('thermal = "polytropic"', 'thermal = "cold"')],
        ["load.thermal = 'cold'", "not one of the words", '"isothermal"'],
    ),
    "not a list": (
        [('[["0 s", "3 l/min ANR"]]', '"3 l/min ANR"')],
        ["load.consumption", "should be a list of pairs", "write consumption ="],
    ),
    "not a pair": (
        [('[["0 s", "3 l/min ANR"]]', '[["0 s"]]')],
        ["load.consumption, pair 1", "should be a pair"],
    ),
    "bare scfm": (
        [('"3 l/min ANR"', '"3 SCFM"')],
        ["load.consumption, pair 1", "several reference", "air.scfm_reference"],
    ),
    "bad scfm reference": (
        [("[run]", '[air]\nscfm_reference = "60 degF"\n[run]')],
        ["air.scfm_reference = '60 degF'", "not a reference state", "14.696 psia"],
    ),
    "times backwards": (
        [('["6 s", "12 mA"]', '["0.5 s", "12 mA"]')],
        ["profile.steps, pair 3 = '0.5 s'", "not above the time", "sort"],
    ),
    "time beyond the end": (
        [('["20 s", "6 mA"]', '["24 s", "6 mA"]')],
        ["profile.steps, pair 6 = '24 s'", "run.duration = 24 s", "lengthen"],
    ),
    "first step late": (
        [('["0 s", "4 mA"],', "")],
        ["profile.steps", "no current at 0 s", "begin with a pair"],
    ),
    "current out of range": (
        [('["20 s", "6 mA"]', '["20 s", "60 mA"]')],
        ["profile.steps, pair 6 = '60 mA'", "allowed range 0 ... 25 mA"],
    ),
    "step above the supply": (
        [("[supply]", '[supply]\nchanges = [["9 s", "4.2 bar gauge"]]')],
        [
            "profile.steps",
            "16 mA at 11 s asks for 4.5 bar gauge",
            "supply is 4.2 bar gauge at its lowest",
            "raise supply.pressure",
        ],
    ),
    "supply below the range's sensor": (
        [('pressure = "8 bar gauge"', 'pressure = "11 bar gauge"')],
        ["sensor.supply.high = '10 bar gauge'", "below supply.pressure", "raise"],
    ),
    "sensor smaller than the range": (
        [('high = "7 bar gauge"', 'high = "5 bar gauge"')],
        ["sensor.pressure.high = '5 bar gauge'", "below range.high", "raise"],
    ),
    "start above the supply": (
        [('thermal = "polytropic"', 'start = "9 bar gauge"')],
        ["load.start = '9 bar gauge'", "supply's 8 bar gauge", "start between"],
    ),
    "supply line alone": (
        [('[supply.volume]\nvolume = "2 L"', "")],
        ["supply.volume: missing", "beside supply.line", "both or none"],
    ),
    "ripple without frequency": (
        [("[supply]", '[supply]\nripple = "0.1 bar"')],
        ["supply.ripple_frequency", "zero beside supply.ripple", "2 Hz"],
    ),
    "wall without conductance": (
        [('thermal = "polytropic"', 'thermal = "wall"')],
        ["load.wall_conductance", 'thermal = "wall"', "2 W/K"],
    ),
    "table of the other arrangement": (
        [("[booster]", "[valve.fill]\n[booster]")],
        ["valve", "belongs to arrangement 'direct'", "remove it"],
    ),
    "command upside down": (
        [("[controller]", '[command]\nend = "3.8 mA"\n[controller]')],
        ["command.end = '3.8 mA'", "not above command.start", "reverse"],
    ),
    "fault limit inside the range": (
        [("[controller]", '[command]\nlow_fault = "4.5 mA"\n[controller]')],
        ["command.low_fault = '4.5 mA'", "not below command.start", "lower"],
    ),
    "upper fault limit inside the range": (
        [("[controller]", '[command]\nhigh_fault = "19 mA"\n[controller]')],
        ["command.high_fault = '19 mA'", "not above command.end", "raise"],
    ),
    "output limits upside down": (
        [("[controller]", '[output]\nlow = "50 %"\nhigh = "20 %"\n[controller]')],
        ["output.high = '20 %'", "not above output.low", "raise"],
    ),
    "display unit of another kind": (
        [("[run]", '[display]\npressure = "litres"\n[run]')],
        ["display.pressure", "litres", "wrong dimension"],
    ),
    "tick longer than the run": (
        [
            ('duration = "24 s"', 'duration = "0.5 s"'),
            ('tick = "5 ms"', 'tick = "0.9 s"'),
            ('["1 s", "8 mA"],', ""),
            ('["6 s", "12 mA"],', ""),
            ('["11 s", "16 mA"],', ""),
            ('["16 s", "12 mA"],', ""),
            ('["20 s", "6 mA"],', ""),
        ],
        ["run.tick = '0.9 s'", "longer than run.duration", "shorten"],
    ),
    "both commands": (
        [("[profile]", '[profile]\nrecording = "command.csv"')],
        ["profile.recording", "beside profile.steps", "keep one"],
    ),
    "toml syntax": (
        [("[run]", "[run")],
        ["not TOML", "line 7", "put it right"],
    ),
    "same key twice": (
        [('volume = "10 L"', 'volume = "10 L"\nvolume = "11 L"')],
        ["not TOML", "overwrite", "line"],
    ),
}


@pytest.mark.parametrize("name", BAD)
def test_load_refuses_in_one_line(load, name):
    changes, said = BAD[name]
    message = refusal_of(load, PRESS, *changes)
    for part in said:
        assert part in message, message


def test_load_every_required_key_is_asked_for_by_name(load):
    lines = PRESS.splitlines(keepends=True)
    asked = 0
    for number, line in enumerate(lines):
        if " = " not in line or line.startswith(("#", " ")) or "= [" in line:
            continue
        without = "".join(lines[:number] + lines[number + 1 :])
        message = ""
        try:
            load(without)
        except InputError as error:
            message = str(error)
        if message:
            assert f".{line.split(' = ')[0]}: missing" in f".{message}".replace(
                "press.toml: ", "press.toml: ."
            )
            asked += 1
    assert asked >= 20


def test_load_missing_empty_and_unreadable_files(tmp_path):
    for name, content, why in (
        ("none.toml", None, "no such file"),
        ("empty.toml", b"", "empty file"),
        ("blank.toml", b"\n  \n", "empty file"),
        ("latin.toml", b'title = "\xe9"', "not UTF-8"),
    ):
        if content is not None:
            (tmp_path / name).write_bytes(content)
        with pytest.raises(InputError, match=why) as caught:
            load_scenario(tmp_path / name)
        assert name in str(caught.value)
        assert "; " in str(caught.value)
        assert "\n" not in str(caught.value)
    with pytest.raises(InputError, match="cannot be read"):
        load_scenario(tmp_path)


def test_load_missing_recording_is_named(load):
    text = BAG.replace('steps = [["0 s", "8 mA"]]', 'recording = "lost.csv"')
    with pytest.raises(InputError, match=r"lost\.csv: no such file; check"):
        load(text)


def test_load_shipped_files_are_plain_toml():
    for name in SHIPPED:
        assert tomllib.loads(shipped_scenario_path(name).read_text(encoding="utf-8"))
