"""Operations on values as LLVM instructions, for one lane or for several.

A value is *shared* (one number for all lanes) or *laned* (one for each, in a
vector register). With one lane everything is shared. Python's own rules hold for
each operation, with 32-bit integers and float64; nothing is reordered or fused,
so every lane gets what CPython would compute.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from llvmlite import ir

Kind = Literal["int", "float", "bool"]
BITS = {"int": ir.IntType(32), "float": ir.DoubleType(), "bool": ir.IntType(1)}
BYTES = {"int": 4, "float": 8}
LONG = ir.IntType(64)
POINTER = ir.PointerType()


@dataclass(frozen=True, eq=False)
class Value:
    """A number that is known only when the code runs.

    ``sign`` is known beforehand for some: +1 or -1, never zero.
    """

    kind: Kind
    laned: bool
    code: Any
    sign: int = 0


Operand = Value | int | float | bool


def kind_of(operand: Operand) -> Kind:
    """Kind of a value or of a Python number."""
    if isinstance(operand, Value):
        return operand.kind
    if isinstance(operand, bool):
        return "bool"
    return "int" if isinstance(operand, int) else "float"


class Machine:
    """One function under construction.

    Parameters
    ----------
    lanes : int
        Loops side by side; 1 makes ordinary scalar code.
    arguments : sequence of kind or None
        Kinds of the arguments; None is a pointer.
    """

    def __init__(self, lanes: int, arguments: Sequence[Kind | None]) -> None:
        self.lanes = lanes
        self.module = ir.Module("straight")
        types = [BITS[kind] if kind else POINTER for kind in arguments]
        self.function = ir.Function(
            self.module, ir.FunctionType(ir.VoidType(), types), "run"
        )
        for argument in self.function.args:
            if argument.type == POINTER:
                argument.add_attribute("noalias")
        self.builder = ir.IRBuilder(self.function.append_basic_block("entry"))

    def argument(self, place: int, kind: Kind) -> Value:
        """Read a scalar argument."""
        return Value(kind, False, self.function.args[place])

    # -- kinds and lanes -------------------------------------------------------

    def _type(self, kind: Kind, *, laned: bool) -> Any:
        return ir.VectorType(BITS[kind], self.lanes) if laned else BITS[kind]

    def undefined(self, like: Value) -> Value:
        """Stand-in for a value of a side that was not taken."""
        code = ir.Constant(self._type(like.kind, laned=like.laned), ir.Undefined)
        return Value(like.kind, like.laned, code)

    def as_value(self, operand: Operand, kind: Kind, *, laned: bool) -> Value:
        """Turn an operand into a value of a kind, spread over lanes if asked."""
        if not isinstance(operand, Value):
            number: Any = float(operand) if kind == "float" else int(operand)
            if laned:
                number = [number] * self.lanes
            return Value(
                kind, laned, ir.Constant(self._type(kind, laned=laned), number)
            )
        code, has = operand.code, operand.laned
        if operand.kind != kind:
            code = self._convert(code, operand.kind, kind, laned=has)
        if laned and not has:
            code = self._spread(code, kind)
        return Value(kind, laned or has, code)

    def _convert(self, code: Any, old: Kind, new: Kind, *, laned: bool) -> Any:
        target = self._type(new, laned=laned)
        if (old, new) == ("int", "float"):
            return self.builder.sitofp(code, target)
        if old == "bool":
            widened = self.builder.zext(code, self._type("int", laned=laned))
            return widened if new == "int" else self.builder.sitofp(widened, target)
        if new == "bool":
            zero = ir.Constant(code.type, [0] * self.lanes if laned else 0)
            return (
                self.builder.icmp_signed("!=", code, zero)
                if old == "int"
                else self.builder.fcmp_unordered("!=", code, zero)
            )
        return self.call("llvm.fptosi.sat", [Value(old, laned, code)], new).code

    def _spread(self, code: Any, kind: Kind) -> Any:
        vector = self._type(kind, laned=True)
        first = self.builder.insert_element(
            ir.Constant(vector, ir.Undefined), code, ir.Constant(BITS["int"], 0)
        )
        places = ir.VectorType(BITS["int"], self.lanes)
        return self.builder.shuffle_vector(
            first, ir.Constant(vector, ir.Undefined), ir.Constant(places, None)
        )

    def together(self, operands: Sequence[Operand], kind: Kind) -> list[Value]:
        """Bring operands to one kind, all shared or all laned."""
        laned = any(isinstance(o, Value) and o.laned for o in operands)
        return [self.as_value(o, kind, laned=laned) for o in operands]

    # -- operations ------------------------------------------------------------

    def arithmetic(self, name: str, left: Operand, right: Operand) -> Value:
        """Apply an operator of two numbers, named as in Python's `ast`."""
        kinds = {kind_of(left), kind_of(right)}
        if name == "FloorDiv":
            return self._floor_quotient(left, right)
        kind: Kind = "float" if "float" in kinds or name == "Div" else "int"
        a, b = self.together((left, right), kind)
        build = getattr(self.builder, INSTRUCTIONS[kind][name])
        return Value(kind, a.laned, build(a.code, b.code))

    def _floor_quotient(self, left: Operand, right: Operand) -> Value:
        # Exact: both have at most 31 bits, their quotient differs from the next
        # whole number by more than a float64 rounds.
        quotient = self.arithmetic("Div", left, right)
        return self.as_value(
            self.call("llvm.floor", [quotient], "float"), "int", laned=quotient.laned
        )

    def compare(self, sign: str, left: Operand, right: Operand) -> Value:
        """Compare two numbers; ``sign`` is Python's own."""
        kind: Kind = "float" if "float" in {kind_of(left), kind_of(right)} else "int"
        a, b = self.together((left, right), kind)
        if kind == "int":
            code = self.builder.icmp_signed(sign, a.code, b.code)
        elif sign == "!=":
            code = self.builder.fcmp_unordered(sign, a.code, b.code)
        else:
            code = self.builder.fcmp_ordered(sign, a.code, b.code)
        return Value("bool", a.laned, code)

    def select(self, condition: Value, then: Operand, other: Operand) -> Value:
        """Choose between two numbers, in each lane for itself."""
        kinds = {kind_of(then), kind_of(other)}
        kind: Kind = kinds.pop() if len(kinds) == 1 else "int"
        if "float" in kinds:
            kind = "float"
        a, b = self.together((then, other), kind)
        if condition.laned:
            a, b = (self.as_value(v, kind, laned=True) for v in (a, b))
        code = self.builder.select(condition.code, a.code, b.code)
        return Value(kind, a.laned, code)

    def negate(self, operand: Value) -> Value:
        """Turn the sign."""
        build = self.builder.fneg if operand.kind == "float" else self.builder.neg
        return Value(operand.kind, operand.laned, build(operand.code))

    def opposite(self, condition: Value) -> Value:
        """Turn a truth."""
        return Value("bool", condition.laned, self.builder.not_(condition.code))

    def call(self, name: str, operands: Sequence[Value], kind: Kind) -> Value:
        """Call a mathematical function of LLVM on values of one shape."""
        laned = operands[0].laned
        result = self._type(kind, laned=laned)
        types = [operand.code.type for operand in operands]
        suffix = _suffix(types[0], self.lanes)
        full = f"{name}.{_suffix(result, self.lanes)}." if kind == "int" else f"{name}."
        function = self.module.globals.get(full + suffix) or ir.Function(
            self.module, ir.FunctionType(result, types), full + suffix
        )
        code = self.builder.call(function, [operand.code for operand in operands])
        return Value(kind, laned, code)

    def any_lane(self, condition: Value) -> Any:
        """Code that tells whether a condition holds in some lane."""
        if not condition.laned:
            return condition.code
        mask = self.builder.bitcast(condition.code, ir.IntType(self.lanes))
        return self.builder.icmp_unsigned("!=", mask, ir.Constant(mask.type, 0))

    # -- memory ----------------------------------------------------------------

    def _address(self, place: int, index: Operand, kind: Kind, stride: int) -> Any:
        if isinstance(index, Value):
            offset = self.builder.sext(index.code, LONG)
            offset = self.builder.mul(offset, ir.Constant(LONG, stride))
        else:
            offset = ir.Constant(LONG, int(index) * stride)
        return self.builder.gep(
            self.function.args[place], [offset], source_etype=BITS[kind]
        )

    def load(self, place: int, index: Operand, kind: Kind, *, laned: bool) -> Value:
        """Read an element of the array at a place among the arguments."""
        if isinstance(index, Value) and index.laned:
            return self._gather(place, index, kind, laned=laned)
        stride = self.lanes if laned else 1
        code = self.builder.load(
            self._address(place, index, kind, stride),
            typ=self._type(kind, laned=laned),
            align=BYTES[kind],
        )
        return Value(kind, laned, code)

    def _gather(self, place: int, index: Value, kind: Kind, *, laned: bool) -> Value:
        vector = self._type(kind, laned=True)
        code = ir.Constant(vector, ir.Undefined)
        for lane in range(self.lanes):
            number = ir.Constant(BITS["int"], lane)
            offset = self.builder.sext(
                self.builder.extract_element(index.code, number), LONG
            )
            if laned:
                offset = self.builder.mul(offset, ir.Constant(LONG, self.lanes))
                offset = self.builder.add(offset, ir.Constant(LONG, lane))
            where = self.builder.gep(
                self.function.args[place], [offset], source_etype=BITS[kind]
            )
            one = self.builder.load(where, typ=BITS[kind], align=BYTES[kind])
            code = self.builder.insert_element(code, one, number)
        return Value(kind, True, code)

    def store(
        self, place: int, index: Operand, kind: Kind, operand: Operand, *, laned: bool
    ) -> None:
        """Write an element of the array at a place among the arguments."""
        new = self.as_value(operand, kind, laned=laned)
        address = self._address(place, index, kind, self.lanes if laned else 1)
        self.builder.store(new.code, address, align=BYTES[kind])

    # -- flow ------------------------------------------------------------------

    def block(self, name: str) -> Any:
        """Make a block of code that nothing leads to yet."""
        return self.function.append_basic_block(name)

    def join(self, first: Value, begin: Any, second: Value, end: Any) -> Value:
        """Take the value of the block that was come from."""
        phi = self.builder.phi(first.code.type)
        phi.add_incoming(first.code, begin)
        phi.add_incoming(second.code, end)
        return Value(first.kind, first.laned, phi)

    def loop(self, count: Value, body: Callable[[Value], None]) -> None:
        """Repeat code ``count`` times with a running number."""
        head, inside, after = (self.block(n) for n in ("head", "inside", "after"))
        before = self.builder.block
        self.builder.branch(head)
        self.builder.position_at_end(head)
        running = self.builder.phi(BITS["int"])
        running.add_incoming(ir.Constant(BITS["int"], 0), before)
        more = self.builder.icmp_signed("<", running, count.code)
        self.builder.cbranch(more, inside, after)
        self.builder.position_at_end(inside)
        body(Value("int", False, running))
        following = self.builder.add(running, ir.Constant(BITS["int"], 1))
        running.add_incoming(following, self.builder.block)
        self.builder.branch(head)
        self.builder.position_at_end(after)


INSTRUCTIONS = {
    "int": {
        "Add": "add",
        "Sub": "sub",
        "Mult": "mul",
        "LShift": "shl",
        "RShift": "ashr",
        "BitAnd": "and_",
        "BitOr": "or_",
    },
    "float": {"Add": "fadd", "Sub": "fsub", "Mult": "fmul", "Div": "fdiv"},
}


def _suffix(kind: Any, lanes: int) -> str:
    if isinstance(kind, ir.VectorType):
        return f"v{lanes}{_suffix(kind.element, lanes)}"
    return "f64" if isinstance(kind, ir.DoubleType) else "i32"
