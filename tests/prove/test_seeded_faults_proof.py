"""Known mistakes that leave 31 bits, a table or a declared range: all are proved.

Each is patched into the law's text; the old text must stand there exactly once.
The proof must fail, and say the words in the last column, so that it fails for
the mistake and not for something else.
"""

from typing import NamedTuple

import pytest

from host_sim.prove.proof import prove_law
from host_sim.prove.proof_source import law_sources


class Fault(NamedTuple):
    """One mistake: where, which text becomes which, and what the proof says."""

    name: str
    module: str
    old: str
    new: str
    proof_says: str


FAULTS = (
    Fault(
        "dropped clamp before the pressure filter",
        "sense",
        "clamp(reading, _SIGNAL_LOW, _SIGNAL_HIGH)",
        "reading",
        "leaves +-(2**30 - 1)",
    ),
    Fault(
        "dropped clamp after the pressure filter",
        "sense",
        "clamp(last + reading, _SIGNAL_LOW, _SIGNAL_HIGH)",
        "last + reading",
        "PRESSURE: ",
    ),
    Fault(
        "dropped clamp of the integral",
        "pid",
        "clamp(integral, -_INTEGRAL_LIMIT, _INTEGRAL_LIMIT)",
        "integral",
        "INTEGRAL: ",
    ),
    Fault(
        "dropped clamp of the excess",
        "pid",
        "clamp(over, -_SPREAD, _SPREAD)",
        "over",
        "leaves +-(2**30 - 1)",
    ),
    Fault(
        "dropped clamp of the request",
        "pid",
        "clamp(forward, -_REQUEST_LIMIT, _REQUEST_LIMIT)",
        "forward",
        "REQUEST: ",
    ),
    Fault(
        "dropped limits of the output",
        "output",
        "clamp(int(state[_WANTED]), low, int(params[_OUTPUT_HIGH]))",
        "int(state[_WANTED])",
        "DEMAND: ",
    ),
    Fault(
        "dropped clamp of the charge",
        "drive",
        "clamp(charge, -_CHARGE_LIMIT, _CHARGE_LIMIT)",
        "charge",
        "CHARGE: ",
    ),
    Fault(
        "rest kept with a mask of one bit more",
        "arith",
        "state[slot] = (value & (half + half - 1)) - half",
        "state[slot] = (value & (half + half + half + half - 1)) - half",
        "leaves +-(2**30 - 1)",
    ),
    Fault(
        "rate's rest kept without its mask",
        "arith",
        "state[slot] = total & 16_383",
        "state[slot] = total",
        "_REST: ",
    ),
    Fault(
        "tick counter without its mask",
        "tick",
        "(int(state[_TICKS]) + 1) & _TICKS_MASK",
        "int(state[_TICKS]) + 1",
        "TICKS: ",
    ),
    Fault(
        "one gain bit more",
        "layout",
        "MANTISSA = (0, 16_383)",
        "MANTISSA = (0, 32_767)",
        "leaves +-(2**30 - 1)",
    ),
    Fault(
        "shift range one more",
        "layout",
        "SHIFT = (1, 29)",
        "SHIFT = (1, 30)",
        "shift count 30 ... 30",
    ),
    Fault(
        "shift range from zero",
        "layout",
        "SHIFT = (1, 29)",
        "SHIFT = (0, 29)",
        "shift count -1 ... 28",
    ),
    Fault(
        "shift the wrong way",
        "arith",
        "return (value * gain + half) >> shift",
        "return (value * gain + half) << shift",
        "leaves +-(2**30 - 1)",
    ),
    Fault(
        "removed divisor guard",
        "supply",
        "    if present < 1:\n        return 4_096\n",
        "",
        "divisor 0 ...",
    ),
    Fault(
        "removed supply floor",
        "supply",
        "clamp(int(state[_SUPPLY]), _SUPPLY_FLOOR, _COUNTS_HIGH)",
        "int(state[_SUPPLY])",
        "divisor 0 ...",
    ),
    Fault(
        "flow scaled four bits too far",
        "supply",
        "(reference << 12)",
        "(reference << 16)",
        "leaves +-(2**30 - 1)",
    ),
    Fault(
        "wider table step in the look-up of the flow",
        "supply",
        "interpolate(params, _FLOW_0, ratio, 10)",
        "interpolate(params, _FLOW_0, ratio, 9)",
        "leaves its table",
    ),
    Fault(
        "finer table step in the look-up of the feed-forward",
        "pid",
        "interpolate(params, _HOLD_0, setpoint, 11)",
        "interpolate(params, _HOLD_0, setpoint, 10)",
        "leaves its table",
    ),
    Fault(
        "dropped limit of the ratio",
        "supply",
        "clamp((absolute << 14) // supply, 0, 16_384)",
        "(absolute << 14) // supply",
        "index 36 ... 163 of",
    ),
    Fault(
        "dropped limit of the set point before its table",
        "pid",
        "clamp(int(state[_SETPOINT]), 0, _SIGNAL_HIGH)",
        "int(state[_SETPOINT])",
        "leaves its table",
    ),
    Fault(
        "suspicion counts on beyond its patience",
        "arith",
        "        if count < patience:\n            count += 1\n",
        "        count += 1\n",
        "_TIMER: ",
    ),
    Fault(
        "pulse counts on without its limit",
        "drive",
        "        if int(state[_PHASE]) < _PHASE_LIMIT:\n            state",
        "        if 1:\n            state",
        "PHASE: ",
    ),
    Fault(
        "reset forgets the neutral factor",
        "tick",
        "    state[_COMPENSATION] = 4_096\n",
        "",
        "COMPENSATION: ",
    ),
    Fault(
        "reset starts one word late",
        "tick",
        "range(_FRESH, _WORDS)",
        "range(_FRESH + 2, _WORDS)",
        "TICKS: ",
    ),
    Fault(
        "reset clears one word too many",
        "tick",
        "_WORDS = const(42)",
        "_WORDS = const(43)",
        "index 42 ... 42",
    ),
)


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: fault.name)
def test_seeded_fault_is_caught_by_the_proof(fault):
    sources = law_sources()
    assert sources[fault.module].count(fault.old) == 1
    sources[fault.module] = sources[fault.module].replace(fault.old, fault.new)
    failures = prove_law(sources).failures
    assert failures
    assert fault.proof_says in " ".join(failure.what for failure in failures)


def test_seeded_faults_are_enough_and_named_once():
    names = {fault.name for fault in FAULTS}
    assert len(names) == len(FAULTS) >= 20
