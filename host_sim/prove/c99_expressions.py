"""Python expressions of the law as C99; what is not known is refused."""

import ast
from collections.abc import Mapping
from dataclasses import dataclass, field

from host_sim.errors import InputError

ARRAYS = {"state": "int32_t *state", "params": "const int32_t *params"}
PREFIX = "LAW"
_INFIX: dict[type[ast.operator], str] = {
    ast.Add: "+",
    ast.Sub: "-",
    ast.Mult: "*",
    ast.BitAnd: "&",
    ast.BitOr: "|",
}
_HELPERS: dict[type[ast.operator], str] = {
    ast.LShift: "shift_left",
    ast.RShift: "shift_right",
    ast.FloorDiv: "floor_divide",
}
_COMPARISONS: dict[type[ast.cmpop], str] = {
    ast.Lt: "<",
    ast.LtE: "<=",
    ast.Gt: ">",
    ast.GtE: ">=",
    ast.Eq: "==",
    ast.NotEq: "!=",
}
_SUMS = (ast.Add, ast.Sub)


@dataclass(frozen=True)
class Signature:
    """How a function of the law is called.

    Attributes
    ----------
    symbol : str
        Its name in C.
    parameters : tuple of str
    returns : bool
        It gives a number back.
    writes : bool
        It, or a function that it calls, writes the state.
    """

    symbol: str
    parameters: tuple[str, ...]
    returns: bool
    writes: bool


@dataclass
class Scope:
    """What an expression may refer to at one place of a function.

    Attributes
    ----------
    file : str
    constants : Mapping
        Private constants of the law.
    functions : Mapping
    assigned : set of str
        Locals that have a number on every way to this place.
    alone : ast.expr, optional
        The whole right side of the statement: the one place where a function
        that writes may be called, since C leaves the order of operands open.
    """

    file: str
    constants: Mapping[str, int]
    functions: Mapping[str, Signature]
    assigned: set[str] = field(default_factory=set)
    alone: ast.expr | None = None


def refuse(file: str, node: ast.AST, why: str) -> InputError:
    """Say where the law uses what the export does not know."""
    line = getattr(node, "lineno", 1)
    text = ast.unparse(node).splitlines()[0]
    return InputError(f"{file}:{line}: no C99 for `{text}`: {why}")


def constant_symbol(name: str) -> str:
    """Name a private constant in C, where a leading underscore is reserved."""
    return PREFIX + name


def bare(node: ast.expr) -> ast.expr:
    """Drop the conversions that only MicroPython's emitters need."""
    match node:
        case ast.Call(func=ast.Name(id="int"), args=[inner], keywords=[]):
            return bare(inner)
    return node


def number(node: ast.expr, scope: Scope) -> str:
    """Write an expression whose result is a number."""
    node = bare(node)
    match node:
        case ast.Constant(value=int(literal)) if not isinstance(literal, bool):
            return str(literal)
        case ast.Name(id=name):
            return _name(node, name, scope)
        case ast.Subscript(value=ast.Name(id=array), slice=slot) if array in ARRAYS:
            if isinstance(slot, ast.UnaryOp):
                raise refuse(scope.file, node, "a slot counts from the start")
            return f"{array}[{number(slot, scope)}]"
        case ast.BinOp() | ast.UnaryOp(op=ast.USub()):
            return _operation(node, scope)
        case ast.IfExp(test=test, body=body, orelse=orelse):
            parts = (condition(test, scope), number(body, scope), number(orelse, scope))
            return "{} ? {} : {}".format(*parts)
        case ast.Call(func=ast.Name(id=name)) if name in scope.functions:
            if not scope.functions[name].returns:
                raise refuse(scope.file, node, f"{name} returns nothing")
            return call(node, scope)
        case ast.Compare() | ast.BoolOp() | ast.UnaryOp(op=ast.Not()):
            raise refuse(scope.file, node, "no number; write 1 if ... else 0")
    raise refuse(scope.file, node, f"unknown expression {type(node).__name__}")


def condition(node: ast.expr, scope: Scope) -> str:
    """Write an expression that is only asked whether it is true."""
    node = bare(node)
    match node:
        case ast.BoolOp(op=operator, values=parts):
            sign = " && " if isinstance(operator, ast.And) else " || "
            return sign.join(_grouped(part, scope) for part in parts)
        case ast.UnaryOp(op=ast.Not(), operand=inner):
            if isinstance(inner, ast.BoolOp | ast.Compare):
                return f"!({condition(inner, scope)})"
            return f"{_compared(inner, scope)} == 0"
        case ast.Compare():
            return _comparison(node, scope)
    return f"{_compared(node, scope)} != 0"


def call(node: ast.Call, scope: Scope) -> str:
    """Write a call of another function of the law."""
    name = node.func.id if isinstance(node.func, ast.Name) else ""
    if name not in scope.functions:
        raise refuse(scope.file, node, "not a function of the law")
    signature = scope.functions[name]
    if node.keywords or len(node.args) != len(signature.parameters):
        raise refuse(scope.file, node, "arguments are given by place, all of them")
    if signature.writes and node is not scope.alone:
        raise refuse(
            scope.file, node, f"{name} writes the state, so it must stand alone"
        )
    pairs = zip(signature.parameters, node.args, strict=True)
    return f"{signature.symbol}({', '.join(_argument(*pair, scope) for pair in pairs)})"


def infix(operator: ast.operator) -> str | None:
    """Give the sign that an operator has in C too, if any."""
    return _INFIX.get(type(operator))


def is_literal(node: ast.expr, scope: Scope) -> bool:
    """Say whether an expression is one literal or constant."""
    node = bare(node)
    if isinstance(node, ast.UnaryOp):
        return is_literal(node.operand, scope)
    return isinstance(node, ast.Constant) or (
        isinstance(node, ast.Name) and node.id in scope.constants
    )


def _argument(parameter: str, node: ast.expr, scope: Scope) -> str:
    if parameter not in ARRAYS:
        return number(node, scope)
    if isinstance(node, ast.Name) and node.id == parameter:
        return parameter
    raise refuse(scope.file, node, f"{parameter} is passed on under its own name")


def _name(node: ast.expr, name: str, scope: Scope) -> str:
    if name in scope.constants:
        return constant_symbol(name)
    if name in scope.assigned:
        return name
    raise refuse(scope.file, node, "no number on every way to this place")


def _operation(node: ast.BinOp | ast.UnaryOp, scope: Scope) -> str:
    if isinstance(node, ast.UnaryOp):
        return f"-{_operand(node.operand, scope, node.op)}"
    kind = type(node.op)
    if kind in _HELPERS:
        both = f"{number(node.left, scope)}, {number(node.right, scope)}"
        return f"{_HELPERS[kind]}({both})"
    if kind not in _INFIX:
        raise refuse(scope.file, node, f"unknown operator {kind.__name__}")
    # In C the sum of two literals is an int, and an int may have 16 bits.
    if is_literal(node.left, scope) and is_literal(node.right, scope):
        raise refuse(scope.file, node, "give the result as a constant")
    left = _operand(node.left, scope, node.op)
    right = _operand(node.right, scope, node.op, right=True)
    return f"{left} {_INFIX[kind]} {right}"


def _operand(
    node: ast.expr,
    scope: Scope,
    outer: ast.operator | ast.unaryop,
    *,
    right: bool = False,
) -> str:
    node = bare(node)
    text = number(node, scope)
    match node:
        case ast.BinOp(op=inner) if type(inner) in _INFIX:
            chained = type(inner) is type(outer) or {type(inner), type(outer)} == set(
                _SUMS
            )
            product = isinstance(inner, ast.Mult) and isinstance(outer, _SUMS)
            return text if product or (chained and not right) else f"({text})"
        case ast.IfExp() | ast.UnaryOp():
            return f"({text})"
    return text


def _grouped(node: ast.expr, scope: Scope) -> str:
    node = bare(node)
    text = condition(node, scope)
    chained = isinstance(node, ast.Compare) and len(node.ops) > 1
    return f"({text})" if chained or isinstance(node, ast.BoolOp) else text


def _compared(node: ast.expr, scope: Scope) -> str:
    node = bare(node)
    text = number(node, scope)
    bits = isinstance(node, ast.BinOp) and isinstance(node.op, ast.BitAnd | ast.BitOr)
    return f"({text})" if bits or isinstance(node, ast.IfExp) else text


def _comparison(node: ast.Compare, scope: Scope) -> str:
    parts = [node.left, *node.comparators]
    for inner in parts[1:-1]:
        for part in ast.walk(bare(inner)):
            if isinstance(part, ast.Call) and bare(part) is part:
                raise refuse(scope.file, node, "C would call the middle twice")
    texts = [_compared(part, scope) for part in parts]
    links = []
    for left, operator, right in zip(texts, node.ops, texts[1:], strict=False):
        if type(operator) not in _COMPARISONS:
            raise refuse(scope.file, node, "unknown comparison")
        links.append(f"{left} {_COMPARISONS[type(operator)]} {right}")
    return " && ".join(links)
