"""What the compiler made of the loops: instructions by kind."""

from collections.abc import Sequence
from types import FunctionType, ModuleType
from unittest.mock import patch

from bench.host_ours import recorded_slots
from host_sim.compiling.instructions import InstructionCount, count_instructions
from host_sim.compiling.signature import Signature
from host_sim.loop import native
from host_sim.loop.batch import LANES
from host_sim.loop.rig import Rig


def count_codes(rig: Rig) -> dict[str, InstructionCount]:
    """Count the code of a loop alone, recorded, and of loops in lanes.

    Returns
    -------
    dict
        Empty where this processor's instructions are not known.
    """

    counts: list[InstructionCount] = []

    def count(
        function: FunctionType,
        signature: Signature,
        _modules: Sequence[ModuleType],
        lanes: int = 1,
    ) -> None:
        counts.append(count_instructions(function, signature, lanes))

    with patch.object(native, "compile_native", count):
        try:
            # Unwrapped: no cache may take this for code.
            native.recorder.__wrapped__(rig.shape, *recorded_slots(rig))
            native.watcher.__wrapped__(rig.shape, LANES)
        except NotImplementedError:
            return {}
    return dict(zip(("single", "lanes"), counts, strict=True))
