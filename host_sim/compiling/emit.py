"""From a plain function to LLVM's text, and on to a module for this computer."""

from collections.abc import Callable, Mapping
from typing import Any

import llvmlite.binding as llvm

from host_sim.compiling.machine import Machine
from host_sim.compiling.memory import Array
from host_sim.compiling.signature import (
    Names,
    Number,
    Part,
    Signature,
    Table,
    passed_parts,
)
from host_sim.compiling.straight import Straightener
from host_sim.compiling.values import Kind, Value

OPTIMISATION = 2
"""Level of LLVM's passes; none of them changes a bit of a result."""


def write(
    function: Callable[..., Any], signature: Signature, lanes: int
) -> tuple[str, set[str]]:
    """Write a function, and all that it calls, as LLVM's text.

    Parameters
    ----------
    function : function
        Plain; see `straight` for what it may use.
    signature : mapping
        Each argument's kind, in order.
    lanes : int
        Loops side by side.

    Returns
    -------
    str
        Not yet optimised.
    set of str
        Names of the modules that it used.

    Raises
    ------
    RefusedError
        With file and line of what straight code does not have.
    """
    kinds: list[Kind | None] = []
    places: dict[Names, int] = {}
    for names, part in passed_parts(signature):
        places[names] = len(kinds)
        if isinstance(part, Number):
            kinds.append(part.kind)
        else:
            kinds += [None, "int"] if part.length is None else [None]
    straightener = Straightener(Machine(lanes, kinds))
    machine = straightener.machine
    given: list[Any] = []
    for name, argument in signature.items():
        if isinstance(argument, Mapping):
            parts = [((name, inner), one) for inner, one in argument.items()]
            given.append(tuple(_stand_in(n, p, places, machine) for n, p in parts))
        else:
            given.append(_stand_in((name, ""), argument, places, machine))
    straightener.follow(function, given)
    straightener.memory.flush()
    machine.builder.ret_void()
    return str(machine.module), straightener.used


def _stand_in(
    names: Names, part: Part, places: Mapping[Names, int], machine: Machine
) -> Value | Array:
    if isinstance(part, Number):
        return machine.argument(places[names], part.kind)
    return _array(part, places.get(names, -1), machine)


def _array(part: Table, place: int, machine: Machine) -> Array:
    length: int | Value | None = part.length
    if length is None:
        length = machine.argument(place + 1, "int")
    elif length == 0 and not part.scratch:
        length = None
    laned = part.laned and machine.lanes > 1
    known = {
        slot: (
            Value(part.kind, laned, None, 1 if known == "+" else -1)
            if isinstance(known, str)
            else known
        )
        for slot, known in part.known
    }
    return Array(place, part.kind, laned, length, part.row, known)


def object_code(text: str) -> bytes:
    """Turn LLVM's text into an object file of machine code."""
    return bytes(target().emit_object(optimised(text)))


def target() -> Any:
    """Describe this computer's processor to LLVM."""
    llvm.initialize_native_target()
    llvm.initialize_native_asmprinter()
    return llvm.Target.from_default_triple().create_target_machine(
        cpu=llvm.get_host_cpu_name(),
        features=llvm.get_host_cpu_features().flatten(),
        opt=OPTIMISATION,
        jit=True,
    )


def optimised(text: str) -> Any:
    """Let LLVM's passes improve a module, bit for bit the same."""
    module = llvm.parse_assembly(text)
    module.verify()
    options = llvm.create_pipeline_tuning_options(speed_level=OPTIMISATION)
    passes = llvm.create_pass_builder(target(), options)
    passes.getModulePassManager().run(module, passes)
    return module
