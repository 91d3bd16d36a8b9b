"""A device between ticks: all of a change or none, and no bump from it."""

import random
from array import array

import pytest
from failing_histories import TICK_US
from hypothesis import given
from hypothesis import strategies as st
from memory_banks import MemoryBanks

from firmware_model.device import device as device_module
from firmware_model.device.device import HOLD, MANUAL, Device
from firmware_model.device.layout import DEVICE_PARAMETERS, DEVICE_STATE
from firmware_model.device.store import Store
from firmware_model.law.layout import ORDERED

SLOT = {row[0]: slot for slot, row in enumerate(DEVICE_PARAMETERS)}
WORD = {row[0]: slot for slot, row in enumerate(DEVICE_STATE)}
COUNTS = (15_728, 12_000, 16_384)


def made(memory=None):
    """Make a device whose store holds a block."""
    device = Device(Store(memory or MemoryBanks(), TICK_US))
    device.save()
    device.restart()
    return device


def run(device, ticks, counts=COUNTS):
    for _ in range(ticks):
        device.state[:3] = array("i", counts)
        device.tick()
    return device.state[WORD["OUTPUT"]]


def settled():
    """Run a device with gains until it stands inside its limits."""
    device = made()
    gains = {"P_GAIN": 8_192, "P_SHIFT": 14, "I_GAIN": 1_000, "I_SHIFT": 21}
    assert device.change([(SLOT[name], word) for name, word in gains.items()]) == -1
    run(device, 80)
    assert device.state[WORD["ACTIVE"]] == 0
    return device


def test_device_without_a_stored_block_stays_safe_until_one_is_saved():
    device = Device(Store(MemoryBanks(), TICK_US))
    run(device, 300)
    assert device.state[WORD["CONDITION"]] == 2
    device.confirm()
    run(device, 2)
    assert device.state[WORD["CONDITION"]] == 2
    device.save()
    run(device, 1)
    device.confirm()
    run(device, 2)
    assert device.state[WORD["CONDITION"]] == 1


@given(seed=st.integers(0, 2**32))
def test_device_takes_all_of_a_change_or_none(seed):
    source = random.Random(seed)
    device = made()
    before = array("i", device.params)
    edits = []
    for slot in source.sample(range(len(DEVICE_PARAMETERS)), source.randint(1, 6)):
        low, high = DEVICE_PARAMETERS[slot][1]
        reach = source.choice((0, 0, 0, 1))
        edits.append((slot, source.randint(low - reach, high + reach)))
    wanted = array("i", before)
    for slot, word in edits:
        wanted[slot] = word
    legal = all(
        low <= word <= high
        for (_, (low, high), _, _), word in zip(DEVICE_PARAMETERS, wanted, strict=True)
    ) and all(wanted[SLOT[low]] <= wanted[SLOT[high]] for low, high in ORDERED)
    refused = device.change(edits)
    if legal:
        assert (refused, device.params) == (-1, wanted)
        assert device.unsaved
    else:
        assert refused >= 0
        assert device.params == before
        assert not device.unsaved


@pytest.mark.parametrize("gain", [1_000, 16_383])
def test_device_change_of_gains_does_not_move_the_output(gain):
    device = settled()
    before = device.state[WORD["OUTPUT"]]
    edits = [(SLOT["P_GAIN"], gain), (SLOT["P_SHIFT"], 11), (SLOT["I_GAIN"], gain)]
    assert device.change(edits) == -1
    assert run(device, 1) == before
    # From here on the new integral gain moves it, by no more than one tick's part.
    step = 2 + abs(device.state[WORD["ERROR"]]) * gain // 2**21
    assert abs(run(device, 1) - before) <= step


def test_device_change_holds_the_output_when_a_tick_comes_between_two_words(
    monkeypatch,
):
    """An interrupt after every single word that is written."""
    device = settled()
    before = run(device, 0)

    class Interrupting(array):
        """Run a tick after each word."""

        def __setitem__(self, slot, word):
            super().__setitem__(slot, word)
            run(device, 1)
            outputs.add(device.state[WORD["OUTPUT"]])

    outputs = set()
    device.params = Interrupting("i", device.params)
    edits = [(SLOT["P_GAIN"], 16_383), (SLOT["PRESSURE_GAIN"], 6_000)]
    assert device.change(edits) == -1
    assert outputs == {before}
    assert device.state[WORD["CHECK_BAD"]] == 0
    run(device, 250)
    assert device.state[WORD["CHECK_BAD"]] == 0


def test_device_modes_and_demand():
    device = settled()
    before = run(device, 0)
    device.wish(MANUAL)
    assert run(device, 3) == before
    device.demand(-4_000)
    assert run(device, 1) == -4_000
    device.wish(HOLD)
    assert run(device, 5) == -4_000


def test_device_restores_what_is_stored_and_the_factory_words():
    memory = MemoryBanks()
    device = made(memory)
    stored = array("i", device.params)
    device.change([(SLOT["DWELL"], 9)])
    device.save()
    device.change([(SLOT["DWELL"], 3)])
    device.restore()
    assert device.params[SLOT["DWELL"]] == 9
    assert not device.unsaved
    device.take_factory()
    assert device.params == stored
    assert device.unsaved
    device.restart()
    assert device.params[SLOT["DWELL"]] == 9


def test_device_constants_are_the_layouts():
    for name in ("DEMAND", "WISH", "CHANGING", "CONFIRM", "BLOCK_BAD"):
        assert getattr(device_module, "_" + name) == WORD[name]
