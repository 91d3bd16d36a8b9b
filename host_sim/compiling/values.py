"""Numbers that are known only when the code runs, and their kinds."""

from dataclasses import dataclass
from typing import Any, Literal

from host_sim.compiling.refusal import RefusedError

Kind = Literal["bool", "int", "float"]
Stored = Literal["int", "float"]
"""What arguments and arrays hold."""

WIDER: tuple[Kind, ...] = ("bool", "int", "float")


@dataclass(frozen=True, eq=False)
class Value:
    """A number that is known only when the code runs.

    Parameters
    ----------
    kind : str
    laned : bool
        One for each lane.
    code : object
        LLVM's value.
    sign : int
        Known beforehand for some: +1 or -1, never zero.
    real : object, optional
        LLVM's value of the same integer as a float64, where there is one.
    """

    kind: Kind
    laned: bool
    code: Any
    sign: int = 0
    real: Any = None


Operand = Value | int | float | bool


def is_number(operand: object) -> bool:
    """Tell whether something is a value or a plain number of Python."""
    return isinstance(operand, Value | bool | int | float)


def kind_of(operand: Operand) -> Kind:
    """Kind of a value or of a Python number."""
    if isinstance(operand, Value):
        return operand.kind
    if isinstance(operand, bool):
        return "bool"
    if isinstance(operand, int | float):
        return "int" if isinstance(operand, int) else "float"
    raise RefusedError(f"{type(operand).__name__} is no number")


def widest(*operands: Operand) -> Kind:
    """Kind that holds all of some operands."""
    return max((kind_of(operand) for operand in operands), key=WIDER.index)


def common_kind(then: Operand, other: Operand) -> Kind:
    """Kind of a number that is one of two.

    An integer and a float64 have none: Python would keep the integer one, whose
    zero has no sign and whose operators are others.
    """
    kinds = {kind_of(then), kind_of(other)}
    if "float" in kinds and len(kinds) > 1:
        raise RefusedError("an integer on one way, a float on the other")
    return widest(then, other)
