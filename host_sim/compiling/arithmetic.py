"""Operations on numbers: at once where all are known, else as instructions."""

import ast
import math
from collections.abc import Callable
from typing import Any

from host_sim.compiling.machine import Machine
from host_sim.compiling.refusal import RefusedError
from host_sim.compiling.values import Value, is_number, kind_of

OPERATORS: dict[str, Callable[[Any, Any], Any]] = {
    "Add": lambda a, b: a + b,
    "Sub": lambda a, b: a - b,
    "Mult": lambda a, b: a * b,
    "Div": lambda a, b: a / b,
    "FloorDiv": lambda a, b: a // b,
    "LShift": lambda a, b: a << b,
    "RShift": lambda a, b: a >> b,
    "BitAnd": lambda a, b: a & b,
    "BitOr": lambda a, b: a | b,
    "Mod": lambda a, b: a % b,
    "Pow": lambda a, b: a**b,
}
SIGNS: dict[type[ast.cmpop], str] = {
    ast.Lt: "<",
    ast.LtE: "<=",
    ast.Gt: ">",
    ast.GtE: ">=",
    ast.Eq: "==",
    ast.NotEq: "!=",
}
COMPARISONS: dict[str, Callable[[Any, Any], bool]] = {
    "<": lambda a, b: a < b,
    "<=": lambda a, b: a <= b,
    ">": lambda a, b: a > b,
    ">=": lambda a, b: a >= b,
    "==": lambda a, b: a == b,
    "!=": lambda a, b: a != b,
}
ONE, TWO, SEVERAL = range(1, 2), range(2, 3), range(2, 100)
FUNCTIONS: dict[Any, range] = {
    abs: ONE,
    float: ONE,
    int: ONE,
    max: SEVERAL,
    min: SEVERAL,
    math.floor: ONE,
    math.pow: TWO,
    math.sin: ONE,
    math.sqrt: ONE,
}
"""The functions of Python itself that may be called, and of how many numbers."""


class Arithmetic:
    """Computes, or writes what computes into a machine."""

    def __init__(self, machine: Machine) -> None:
        self.machine = machine

    def apply(self, operator: ast.operator, left: Any, right: Any) -> Any:
        """Apply an operator of two numbers."""
        name = type(operator).__name__
        if name not in OPERATORS:
            raise RefusedError(f"no operator {name}")
        if isinstance(left, Value) or isinstance(right, Value):
            return self.machine.arithmetic(name, left, right)
        return _compute(OPERATORS[name], number(left), number(right))

    def negate(self, operand: Any) -> Any:
        """Turn the sign."""
        if isinstance(operand, Value):
            return self.machine.negate(operand)
        return -number(operand)

    def compare(self, operator: ast.cmpop, left: Any, right: Any) -> Any:
        """Compare two numbers; a `bool` where the answer is known."""
        if type(operator) not in SIGNS:
            raise RefusedError(f"no comparison {type(operator).__name__}")
        return self._compare(SIGNS[type(operator)], left, right)

    def _compare(self, sign: str, left: Any, right: Any) -> Any:
        if isinstance(left, Value) and left.sign and _is_zero(right):
            return COMPARISONS[sign](left.sign, 0)
        if isinstance(left, Value) or isinstance(right, Value):
            return self.machine.compare(sign, left, right)
        return COMPARISONS[sign](number(left), number(right))

    def truth(self, operand: Any) -> Any:
        """Tell whether a number counts as true."""
        if isinstance(operand, Value):
            return self.machine.truth(operand)
        return bool(number(operand))

    def call(self, function: Any, given: list[Any]) -> Any:
        """Call a function of Python itself."""
        takes = next((FUNCTIONS[one] for one in FUNCTIONS if one is function), ())
        if len(given) not in takes:
            raise RefusedError("not a function that straight code has, or not so")
        if not any(isinstance(argument, Value) for argument in given):
            return _compute(function, *map(number, given))
        if function in (max, min):
            best, *others = given
            for other in others:
                best = self._extreme(">" if function is max else "<", best, other)
            return best
        if function in (math.pow, math.sin):
            operands = self.machine.together(given, "float")
            return self.machine.library(function.__name__, operands)
        return self._of_one(function, given[0])

    def _of_one(self, function: Any, operand: Value) -> Value:
        machine = self.machine
        if function is abs:
            return machine.absolute(operand)
        if function is int:
            return machine.truncate(operand)
        if function is math.floor:
            return machine.floor(operand)
        real = machine.as_value(operand, "float", laned=operand.laned)
        return real if function is float else machine.intrinsic("llvm.sqrt", real)

    def _extreme(self, sign: str, best: Any, other: Any) -> Any:
        """Python's min or max: the later one only where it is beyond."""
        beyond = self._compare(sign, other, best)
        if isinstance(beyond, bool):
            return other if beyond else best
        # Most bounds are there for a rare case.
        return self.machine.exceptionally(beyond, other, best)


def number(operand: Any) -> Any:
    """Let a number pass, and nothing else."""
    kind_of(operand)
    return operand


def _is_zero(operand: Any) -> bool:
    return is_number(operand) and not isinstance(operand, Value) and operand == 0


def _compute(function: Callable[..., Any], *known: Any) -> Any:
    try:
        return number(function(*known))
    except (ArithmeticError, ValueError, TypeError) as error:
        raise RefusedError(f"{type(error).__name__}: {error}") from error
