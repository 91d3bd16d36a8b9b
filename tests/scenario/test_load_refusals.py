"""Every kind of bad scenario file: one line, with place and remedy."""

import pytest
from scenario_texts import BAG, PRESS

from host_sim.errors import InputError
from host_sim.scenario.load import load_scenario, shipped_scenario_path


def refusal_of(load, text, *changes):
    with pytest.raises(InputError) as caught:
        load(text, *changes)
    message = str(caught.value)
    assert "\n" not in message
    assert "press.toml" in message
    assert "; " in message
    return message


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


def test_load_compensation_of_a_pressure_demand_is_refused(load):
    press = shipped_scenario_path().read_text(encoding="utf-8")
    message = refusal_of(
        load,
        press,
        ("[supply_compensation]", '[supply_compensation]\nstrength = "50 %"'),
    )
    assert "supply_compensation.strength" in message
    assert "pilot.chamber" in message
