"""The proof of a device's tick around the law, and mistakes that it must catch."""

import pytest

from firmware_model.device.layout import DEVICE_STATE
from host_sim.prove.proof import prove_device
from host_sim.prove.proof_source import device_sources

MISTAKES = {
    "weight of late ticks without its end": (
        "detect",
        "weight = int(clamp(weight, 0, worth))",
        "weight = weight",
    ),
    "timer without its end": (
        "detect",
        "int(clamp(int(state[timer]) + 1, 0, ticks))",
        "int(state[timer]) + 1",
    ),
    "a bit that is no fault": ("detect", "int(_TICKS_ARE_LATE)", "4_096"),
    "lamp's clock without its end": (
        "supervisor",
        "if at >= beats * length:",
        "if at >= beats * length + 2_000_000:",
    ),
    "blinks divided by nothing": ("supervisor", "at // length", "at // (length - 1)"),
    "a condition beyond its range": (
        "supervisor",
        "state[_CONDITION] = _STOPPED",
        "state[_CONDITION] = 9",
    ),
    "a mode that the law does not know": (
        "supervisor",
        "mode = _SAFE",
        "mode = 4",
    ),
    "a slot beyond the words": ("supervisor", "state[_LATE] = 0", "state[70] = 0"),
}


def test_proof_of_the_device_holds_and_visits_its_stages():
    proof = prove_device()
    assert proof.failures == []
    assert proof.holds
    stages = {"guide", "find", "hold_faults", "change_condition", "blink", "finish"}
    assert stages <= set(proof.roots)
    seen = {line.function for line in proof.lines}
    assert {"seen_in_time", "distance", "lasts", "seen_by_law"} <= seen


@pytest.mark.parametrize("mistake", MISTAKES)
def test_proof_of_the_device_catches(mistake):
    module, right, wrong = MISTAKES[mistake]
    sources = device_sources()
    text = sources[module]
    assert right in text, mistake
    assert not prove_device({**sources, module: text.replace(right, wrong)}).holds


def test_proof_of_the_device_has_the_devices_words():
    space = {}
    exec(device_sources()["layout"], space)
    assert [row[0] for row in space["STATE"]] == [row[0] for row in DEVICE_STATE]
