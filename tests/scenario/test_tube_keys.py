"""A tube by its size: what it becomes, and what is refused."""

import tomllib

import pytest
from scenario_texts import PRESS

from host_sim.errors import InputError
from host_sim.plant.settings import Air, Tube
from host_sim.plant.tube import acoustic_delay_s, equivalent_restriction
from host_sim.scenario.build_plant import build_plant
from host_sim.scenario.plant_notes import plant_notes
from host_sim.scenario.tree import Tree

KNOWN = '[tube]\nconductance = "6 dm3/(s.bar)"\ncritical_ratio = "0.25"'
SIZED = '[tube]\nlength = "3 m"\ninner_diameter = "8 mm"'
LINE = '[supply.line]\nconductance = "8 dm3/(s.bar)"'
SIZED_LINE = '[supply.line]\nlength = "1200 cm"\ninner_diameter = "0.5 in"'
AT_OUTLET = ("[sensor.pressure]", '[sensor.pressure]\nlocation = "outlet"')
SUPPLY = '[supply]\npressure = "8 bar gauge"'
SENSOR_TOP = 'high = "10 bar gauge"'
HIGH_SUPPLY = (
    (SUPPLY, '[supply]\npressure = "16 bar gauge"'),
    (SENSOR_TOP, 'high = "20 bar gauge"'),
)


def ambient(temperature):
    return "[run]", f'[air]\nambient_temperature = "{temperature}"\n\n[run]'


def built(*changes):
    """Plant and notes of the press with some of its text replaced."""
    text = PRESS
    for old, new in changes:
        assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times"
        text = text.replace(old, new)
    tree = Tree(tomllib.loads(text), "press.toml")
    plant = build_plant(tree)
    return plant, plant_notes(tree, plant.arrangement)


def test_tube_of_known_size_becomes_its_restriction():
    plant, _ = built((KNOWN, SIZED))
    fit = equivalent_restriction(Tube(3.0, 0.008), Air(), 701_325.0)
    assert plant.arrangement.tube == fit.restriction
    assert plant.arrangement.tube.index == 0.5


def test_line_of_known_size_becomes_its_restriction_at_supply_pressure():
    plant, _ = built((LINE, SIZED_LINE))
    fit = equivalent_restriction(Tube(12.0, 0.0127), Air(), 901_325.0)
    assert plant.arrangement.supply.line == fit.restriction
    assert plant.sensing.pressure.delay_s == 0.0


def test_sensor_at_the_load_shows_later_by_the_time_of_sound():
    lagging = ("[sensor.pressure]", '[sensor.pressure]\ndelay = "5 ms"')
    plant, _ = built((KNOWN, SIZED), lagging)
    expected_s = 0.005 + acoustic_delay_s(Tube(3.0, 0.008), Air())
    assert plant.sensing.pressure.delay_s == pytest.approx(expected_s, rel=1e-12)
    assert expected_s == pytest.approx(0.01374, abs=1e-5)


def test_sensor_at_the_outlet_has_no_tube_before_it():
    plant, notes = built((KNOWN, SIZED), AT_OUTLET)
    assert plant.sensing.pressure.delay_s == 0.0
    assert "sound" not in notes[0]


def test_tube_of_known_size_has_the_ambient_temperature():
    plant, _ = built((KNOWN, SIZED), ambient("-10 degC"))
    fit = equivalent_restriction(
        Tube(3.0, 0.008), Air(ambient_temperature_k=263.15), 701_325.0
    )
    assert plant.arrangement.tube == fit.restriction


def test_notes_say_what_each_tube_counts_as():
    plant, notes = built((KNOWN, SIZED), (LINE, SIZED_LINE))
    tube, line = plant.arrangement.tube, plant.arrangement.supply.line
    assert len(notes) == 2
    for note, path in zip(notes, (tube, line), strict=True):
        assert f"C = {path.conductance_m3_s_pa * 1e8:.4g} dm3/(s.bar)" in note
        assert f"b = {path.critical_ratio:.3f}" in note
        assert "\n" not in note
    assert notes[0].startswith("tube: 3 m of 8 mm bore")
    assert "at 6 bar gauge" in notes[0]
    assert "8.74 ms" in notes[0]
    assert notes[1].startswith("supply.line: 1200 cm of 0.5 in bore")
    assert "at 8 bar gauge" in notes[1]


def test_notes_are_none_where_conductances_are_given():
    assert built()[1] == ()


@pytest.mark.parametrize(
    ("new", "words"),
    [
        ("[tube]", ["tube.conductance: missing", "or length and inner_diameter"]),
        (
            KNOWN + SIZED.removeprefix("[tube]"),
            ["tube.conductance", "given beside tube.length", "keep one"],
        ),
        (
            SIZED + "\ncritical_ratio = 0.3",
            ["tube.critical_ratio = 0.3", "given beside tube.length", "keep one"],
        ),
        (
            SIZED + "\nindex = 0.6",
            ["tube.index = 0.6", "given beside tube.length", "keep one"],
        ),
        (
            '[tube]\nlength = "3 m"',
            ["tube.inner_diameter:", "missing beside tube.length", '"8 mm"'],
        ),
        (
            '[tube]\ninner_diameter = "8 mm"',
            ["tube.length:", "missing beside tube.inner_diameter", '"3 m"'],
        ),
        (
            KNOWN + '\ninner_diameter = "8 mm"',
            ["tube.conductance", "given beside tube.inner_diameter", "keep one"],
        ),
        (
            SIZED.replace("3 m", "3 km"),
            ["tube.length = '3 km'", "outside the allowed range 0.01 ... 500 m"],
        ),
        (
            SIZED.replace("8 mm", "8"),
            ["tube.inner_diameter = '8'", "the unit is missing"],
        ),
        (
            SIZED.replace("8 mm", "8 bar"),
            ["tube.inner_diameter = '8 bar'", "wrong dimension for a length"],
        ),
    ],
)
def test_tube_that_is_not_one_of_both_is_refused(new, words):
    with pytest.raises(InputError) as caught:
        built((KNOWN, new))
    message = str(caught.value)
    assert "\n" not in message
    for word in ("press.toml: ", "; ", *words):
        assert word in message


def test_line_that_says_neither_is_refused():
    with pytest.raises(InputError, match=r"supply\.line\.conductance: missing"):
        built((LINE, "[supply.line]"))


def test_note_warns_where_ideal_gas_errs_by_more_than_half_a_percent():
    """17.01 bar absolute: CoolProp 8.0.0 has -0.555 % at 20 degC."""
    _, notes = built(*HIGH_SUPPLY)
    (note,) = notes
    error_percent = float(note.split(" by ")[1].split(" %")[0])
    assert error_percent == pytest.approx(-0.555, abs=0.02)
    assert "16 bar gauge and 20 degC" in note


@pytest.mark.parametrize(
    ("change", "count"),
    [
        # CoolProp 8.0.0: -0.468 % at 14 bar and 20 degC, -0.778 % at 9.01 bar and
        # -20 degC.
        ((SUPPLY, '[supply]\npressure = "14 bar absolute"'), 0),
        (ambient("-20 degC"), 1),
        ((SUPPLY, SUPPLY + '\nchanges = [["1 s", "16 bar gauge"]]'), 1),
        ((SUPPLY, SUPPLY + '\nripple = "5 bar"'), 0),
        ((SUPPLY, '[supply]\npressure = "13 bar gauge"\nripple = "3 bar"'), 1),
    ],
)
def test_note_on_ideal_gas_counts_the_highest_supply(change, count):
    assert len(built(change)[1]) == count
