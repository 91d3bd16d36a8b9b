"""What the compiler made of a function, counted."""

import platform

import pytest
import straight_constructs as constructs
from required import require

from host_sim.compiling import instructions
from host_sim.compiling.instructions import count_instructions

X86 = platform.machine() in instructions.PROCESSORS


def test_instructions_lanes_pack_what_one_lane_computes_singly():
    require("" if X86 else "an x86-64 processor", "elsewhere nothing is counted")
    alone, together = (
        count_instructions(constructs.take_long_sides, constructs.SIGNATURE, lanes)
        for lanes in (1, 16)
    )
    assert alone.scalar_double > 40
    assert together.packed_double > 40
    assert together.scalar_double < alone.scalar_double / 4
    assert together.packed_integer > 0
    assert alone.calls == together.calls == {}


@pytest.mark.parametrize("lanes", [1, 4])
def test_instructions_name_the_library_functions(lanes):
    require("" if X86 else "an x86-64 processor", "elsewhere nothing is counted")
    found = count_instructions(constructs.take_roots, constructs.SIGNATURE, lanes)
    assert found.calls == {"pow": 5 * lanes, "sin": lanes}
    assert found.other > 0
    assert found.moves > 0


def test_instructions_of_an_unknown_processor_are_not_counted(monkeypatch):
    monkeypatch.setattr(platform, "machine", lambda: "abacus")
    with pytest.raises(NotImplementedError, match="abacus"):
        count_instructions(constructs.choose_zero, constructs.SIGNATURE, 1)


KINDS = {
    "packed_double": "vaddpd mulpd vcmpltpd vrndscalepd vsqrtpd andpd vcvttpd2dq",
    "scalar_double": "vaddsd mulsd vucomisd sqrtsd vcvtsi2sd cvttsd2si",
    "packed_integer": "vpaddd pmulld vpsravd vpternlogd pand",
    "moves": "vmovapd movsd vbroadcastsd vpermilpd vblendmpd vpinsrd vpextrd movdqa",
    "other": "movl pushq popq callq addl vzeroupper kmovw cmpl jne retq imull",
}


@pytest.mark.parametrize("kind", KINDS)
def test_instructions_kinds_of_x86(kind):
    names = KINDS[kind].split()
    text = "".join(f"\t{name}\t%a, %b\n.label:\n\t.directive\n" for name in names)
    assert instructions.count_assembly(text) == {kind: len(names)}
