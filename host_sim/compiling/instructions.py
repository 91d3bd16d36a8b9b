"""What the compiler made of a function: its instructions, counted by kind.

Counted is the code as it stands, not as it runs: a loop's body once, a side that
is never taken too.
"""

import platform
import re
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from host_sim.compiling import emit
from host_sim.compiling.signature import Signature

PROCESSORS = ("x86_64", "AMD64")
_INSTRUCTION = re.compile(r"^\t([a-z][a-z0-9]*)", re.MULTILINE)
_CALL = re.compile(r"\bcall \w+ @(\w+)\(")
_MOVES = ("mov", "broadcast", "perm", "unpck", "shuf", "insert", "extract", "blend")
_VECTOR_ENDS = ("pd", "sd", "ps", "dqa", "dqu", "sd2si")
_NO_VECTORS = ("push", "pop", "pause", "prefetch", "vzeroupper")


@dataclass(frozen=True)
class InstructionCount:
    """Instructions of one function.

    Attributes
    ----------
    packed_double, scalar_double : int
        Arithmetic and comparisons of float64 numbers: several at once, or one.
    packed_integer : int
        Of integers, several at once.
    moves : int
        Of what vector registers hold: loads, stores, rearrangements, choices.
    other : int
        All the rest: integers one by one, addresses, jumps.
    calls : dict of str to int
        Of the C library's functions.
    """

    packed_double: int
    scalar_double: int
    packed_integer: int
    moves: int
    other: int
    calls: dict[str, int]


def count_instructions(
    function: Callable[..., Any], signature: Signature, lanes: int
) -> InstructionCount:
    """Compile a function and count its instructions.

    Parameters
    ----------
    function, signature, lanes
        As for `native.compile_native`.

    Returns
    -------
    InstructionCount

    Raises
    ------
    NotImplementedError
        This processor's instructions are not known.
    """
    if platform.machine() not in PROCESSORS:
        raise NotImplementedError(f"instructions of {platform.machine()}")
    module = emit.optimised(emit.write(function, signature, lanes)[0])
    kinds = count_assembly(emit.target().emit_assembly(module))
    return InstructionCount(
        packed_double=kinds["packed_double"],
        scalar_double=kinds["scalar_double"],
        packed_integer=kinds["packed_integer"],
        moves=kinds["moves"],
        other=kinds["other"],
        calls=dict(Counter(_CALL.findall(str(module)))),
    )


def count_assembly(text: str) -> Counter[str]:
    r"""Count the instructions of x86-64 assembly by their kind.

    >>> count_assembly("\tvaddpd\t%ymm0, %ymm1, %ymm2\n\tpushq\t%rax")
    Counter({'packed_double': 1, 'other': 1})
    """
    return Counter(_kind(name) for name in _INSTRUCTION.findall(text))


def _kind(name: str) -> str:
    plain = name.removeprefix("v")
    vector = name.startswith("v") or plain.endswith(_VECTOR_ENDS)
    if name.startswith(_NO_VECTORS):
        return "other"
    if plain.startswith("p") and not plain.endswith("pd"):
        rearranged = plain[1:].startswith((*_MOVES, "ext", "ins"))
        return "moves" if rearranged else "packed_integer"
    if vector and plain.startswith(_MOVES):
        return "moves"
    if plain.endswith(("pd", "pd2dq", "dq2pd")):
        return "packed_double"
    return "scalar_double" if vector else "other"
