"""Every fault of the table: found in its ticks, answered, ended as it says."""

import random
import re
from array import array

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_model.device import detect, faults, layout, supervisor
from firmware_model.device.faults import FAULTS, STOPS, TICKS_WORD, WAITS
from host_sim.device.device_block import DeviceBlock
from host_sim.device.supervised import DEVICE_SLOT, SupervisedController

TABLES = layout.DEVICE_STATE + layout.DEVICE_PARAMETERS
CURRENT, PRESSURE, SUPPLY = 15_728, 16_384, 16_384
WORDS = {
    "CURRENT_PATIENCE": 7,
    "SENSOR_PATIENCE": 5,
    "PRESSURE_LOW": 1_000,
    "PRESSURE_HIGH": 32_000,
    "SUPPLY_LOW": 500,
    "SUPPLY_HIGH": 32_500,
    "SUPPLY_LOST": 8_000,
    "START_TICKS": 4,
    "CLEAR_TICKS": 11,
    "RANGE_TICKS": 9,
    "STUCK_TICKS": 13,
    "APART_TICKS": 17,
    "OUTPUT_LOW": -20_000,
}
SAFE = {0: -20_000, 1: None, 2: 3_000}


def block(**words):
    """Make a block with short times."""
    made = DeviceBlock(tick_s=0.01)
    for name, word in {**WORDS, "SAFE_OUTPUT": 3_000, **words}.items():
        made[name] = word
    return made


def running(**words):
    """Start a pilot up at rest, set point and pressure alike."""
    pilot = SupervisedController(block(**words))
    for _ in range(30):
        pilot.tick(CURRENT, PRESSURE, SUPPLY)
    assert (pilot.condition, pilot.active, pilot.held) == ("running", "automatic", ())
    return pilot


def moving(k):
    """Counts of a pressure that is apart from the set point and never still."""
    return 9_000 + 40 * (k % 2)


CAUSES = {
    "CURRENT LOW": lambda k: (4_000, PRESSURE, SUPPLY),
    "CURRENT HIGH": lambda k: (30_000, PRESSURE, SUPPLY),
    "SENSOR OPEN": lambda k: (CURRENT, 1_000, SUPPLY),
    "SENSOR SHORT": lambda k: (CURRENT, 32_000, SUPPLY),
    "PRESSURE HIGH": lambda k: (23_000, 32_767, SUPPLY),
    "SENSOR STUCK": lambda k: (CURRENT, 9_000, SUPPLY),
    "OUTPUT STUCK": lambda k: (CURRENT, moving(k), SUPPLY),
    "SUPPLY SENSOR": lambda k: (CURRENT, PRESSURE, 300),
    "SUPPLY LOST": lambda k: (CURRENT, PRESSURE, 7_000),
    "LATE TICKS": lambda k: (CURRENT, PRESSURE, SUPPLY, 1),
    "PARAMETERS": lambda k: (CURRENT, PRESSURE, SUPPLY),
}
NEEDS = {
    "PRESSURE HIGH": {
        "PRESSURE_GAIN": 13_760,
        "PRESSURE_HIGH": 32_768,
        "APART": 3_000,
        "APART_TICKS": 1_000,
        "STUCK_TICKS": 1_000,
    },
    "SENSOR STUCK": {"APART_TICKS": 1_000},
}
"""So that nothing else is found before."""


def stated_ticks(row, made):
    """Give the ticks that the table states."""
    if FAULTS[row][TICKS_WORD]:
        ticks = made[FAULTS[row][TICKS_WORD]]
        # The stuck sensor's first tick is the one that it is compared with.
        return ticks + (FAULTS[row][0] == "SENSOR STUCK")
    return 2 * len(made.words)


def inject(pilot, label):
    if label == "PARAMETERS":
        pilot.block.words[DeviceBlock.slot["DITHER_TICKS"]] ^= 1


def ticks_until_found(pilot, label):
    """Count ticks from the cause on; every earlier tick must show nothing."""
    inject(pilot, label)
    for k in range(1, 2_000):
        pilot.tick(*CAUSES[label](k))
        if pilot.present:
            assert pilot.present == (label,)
            return k
    raise AssertionError(label)


def test_supervisor_slots_and_bits_are_those_of_the_tables():
    slots = {row[0]: slot for slot, row in enumerate(layout.DEVICE_STATE)}
    slots |= {row[0]: slot for slot, row in enumerate(layout.DEVICE_PARAMETERS)}
    compared = 0
    for module in (supervisor, detect):
        for name, number in vars(module).items():
            if re.fullmatch(r"_[A-Z_]+", name) and name[1:] in slots:
                if (name, number) == ("_SUPPLY_LOST", 256):
                    continue
                assert number == slots[name[1:]], name
                compared += 1
    assert compared > 40
    assert len(layout.DEVICE_STATE) == supervisor._WORDS
    assert len(layout.DEVICE_PARAMETERS) == supervisor._PARAMETERS
    assert faults.bits_of(STOPS) == supervisor._STOPPING
    assert faults.bits_of(WAITS) == supervisor._WAITING
    assert layout.FAULT_BITS[1] + 1 == 2 ** len(FAULTS)


def test_supervisor_names_are_unique_and_labels_fit_the_display():
    assert len({row[0] for row in TABLES}) == len(TABLES)
    assert max(len(fault[0]) for fault in FAULTS) <= 16
    for name, (low, high), fresh, _ in layout.DEVICE_PARAMETERS:
        assert low <= fresh <= high, name


@pytest.mark.parametrize("row", range(len(FAULTS)), ids=lambda row: FAULTS[row][0])
def test_supervisor_finds_each_fault_in_the_ticks_of_the_table(row):
    label = FAULTS[row][0]
    pilot = running(**NEEDS.get(label, {}))
    stated = stated_ticks(row, pilot.block)
    found = ticks_until_found(pilot, label)
    if label == "PARAMETERS":
        assert found <= stated
    else:
        assert found == stated


@pytest.mark.parametrize("action", SAFE)
@pytest.mark.parametrize("row", range(len(FAULTS)), ids=lambda row: FAULTS[row][0])
def test_supervisor_brings_the_safe_output_for_faults_that_stop(row, action):
    label, *_, stops, _ = FAULTS[row]
    pilot = running(SAFE_ACTION=action, **NEEDS.get(label, {}))
    found = ticks_until_found(pilot, label)
    pilot.tick(*CAUSES[label](found + 1))
    if not stops:
        assert (pilot.condition, pilot.active) == ("running", "automatic")
        return
    assert (pilot.condition, pilot.active) == ("fault", "fault")
    before = pilot.word("OUTPUT")
    for k in range(20):
        pilot.tick(*CAUSES[label](found + 2 + k))
        wanted = before if SAFE[action] is None else SAFE[action]
        assert pilot.word("OUTPUT") == pilot.word("DRIVE") == wanted


@pytest.mark.parametrize("row", range(len(FAULTS)), ids=lambda row: FAULTS[row][0])
def test_supervisor_ends_each_fault_as_the_table_says(row):
    label, *_, stops, waits = FAULTS[row]
    pilot = running(**NEEDS.get(label, {}))
    found = ticks_until_found(pilot, label)
    for k in range(8):
        pilot.tick(*CAUSES[label](found + k))
    inject(pilot, label)
    ended = None
    for k in range(1, 900):
        pilot.tick(CURRENT, PRESSURE, SUPPLY)
        if not pilot.held:
            ended = k
            break
    if waits:
        assert ended is None
        assert not pilot.present
        pilot.confirm()
        pilot.tick(CURRENT, PRESSURE, SUPPLY)
        assert not pilot.held
    else:
        assert ended is not None
        assert ended >= (WORDS["CLEAR_TICKS"] if stops else 1)
    pilot.tick(CURRENT, PRESSURE, SUPPLY)
    assert pilot.condition == "running"


def test_supervisor_confirming_a_fault_whose_cause_is_there_ends_nothing():
    pilot = running(APART_TICKS=30)
    found = ticks_until_found(pilot, "SENSOR STUCK")
    assert found == WORDS["STUCK_TICKS"] + 1
    pilot.block.words[DeviceBlock.slot["DITHER_TICKS"]] ^= 1
    for _ in range(300):
        pilot.tick(CURRENT, PRESSURE, SUPPLY)
    assert pilot.present == ("PARAMETERS",)
    pilot.confirm()
    pilot.tick(CURRENT, PRESSURE, SUPPLY)
    assert pilot.held == ("PARAMETERS",)
    assert pilot.condition == "fault"


def test_supervisor_lamp_blinks_the_number_of_the_first_fault():
    pilot = running(LAMP_TICKS=2)
    assert pilot.word("LAMP") == 1
    ticks_until_found(pilot, "SENSOR SHORT")
    lamp = []
    for _ in range(5 * 2 * 12):
        pilot.tick(CURRENT, 32_000, SUPPLY)
        lamp.append(pilot.word("LAMP"))
    text = "".join(map(str, lamp))
    groups = re.findall(r"(?:1+0{1,3}(?!0))+", text)
    assert {len(re.findall("1+", group)) for group in groups[1:-1]} <= {3, 4}
    assert "11001100110011" in text


def test_supervisor_after_venting_begins_with_shut_valves_and_without_a_jump():
    pilot = running()
    found = ticks_until_found(pilot, "CURRENT LOW")
    for k in range(20):
        pilot.tick(*CAUSES["CURRENT LOW"](found + k))
    assert pilot.word("OUTPUT") == -20_000
    outputs = []
    for _ in range(40):
        pilot.tick(CURRENT, PRESSURE, SUPPLY)
        outputs.append((pilot.active, pilot.word("OUTPUT")))
    first = outputs.index(("start", 0))
    assert outputs[:first] == first * [("fault", -20_000)]
    # Set point and pressure are alike, so nothing moves.
    assert all(abs(output) <= 20 for _, output in outputs[first:])


def test_supervisor_start_up_gives_the_safe_output_until_readings_are_good():
    pilot = SupervisedController(block())
    for _ in range(3):
        pilot.tick(CURRENT, 900, SUPPLY)
        assert (pilot.condition, pilot.active) == ("start-up", "fault")
    ticks = 0
    while pilot.condition != "running":
        pilot.tick(CURRENT, PRESSURE, SUPPLY)
        ticks += 1
    # Suspicion against the sensor has to go before good readings count.
    assert ticks >= WORDS["START_TICKS"]


@pytest.mark.parametrize(("wish", "active"), [(0, 0), (1, 1), (2, 2)])
def test_supervisor_takes_the_wish_after_start_up(wish, active):
    pilot = SupervisedController(block(START_WISH=wish))
    for _ in range(12):
        pilot.tick(CURRENT, PRESSURE, SUPPLY)
    assert pilot.word("ACTIVE") == active


@given(seed=st.integers(0, 2**32))
def test_supervisor_words_stay_in_their_ranges(seed):
    source = random.Random(seed)
    params = array("i", [row[2] for row in layout.DEVICE_PARAMETERS])
    for slot, (_, span, _, _) in enumerate(layout.DEVICE_PARAMETERS):
        if source.random() < 0.3:
            params[slot] = source.choice((*span, source.randint(*span)))
    state = array("i", [source.randint(*row[1]) for row in layout.DEVICE_STATE])
    inputs = [
        slot
        for slot, row in enumerate(layout.DEVICE_STATE)
        if row[2].startswith("input:")
    ]
    for _ in range(60):
        for slot in inputs:
            low, high = layout.DEVICE_STATE[slot][1]
            state[slot] = source.choice((low, high, source.randint(low, high)))
        supervisor.run(state, params)
        for (name, (low, high), _), word in zip(
            layout.DEVICE_STATE, state, strict=True
        ):
            assert low <= word <= high, name


def test_supervisor_start_clears_any_words():
    params = block().words
    state = array("i", [row[1][1] for row in layout.DEVICE_STATE])
    supervisor.start(state, params)
    fresh = array("i", [0] * len(state))
    supervisor.start(fresh, params)
    assert state == fresh
    assert state[DEVICE_SLOT["CONDITION"]] == 0
