"""Operations on values as LLVM instructions, for one lane or for several.

A value is *shared* (one number for all lanes) or *laned* (one for each, in a
vector register). With one lane everything is shared. Python's own rules hold for
each operation, with 32-bit integers and float64; nothing is reordered or fused,
so every lane gets what CPython would compute.

Where CPython would raise (a division by zero, the root of a negative number, no
number as an integer), or integers would leave 32 bits or be shifted by more than 31,
the code has some number and tells nobody; an index that is known only when the code
runs counts from the start, and one outside its array touches what is not the array's.
Such programs are the caller's to avoid. On the side of a branch that was not taken
all this may happen, and does no harm.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

from llvmlite import ir

from host_sim.compiling.refusal import RefusedError
from host_sim.compiling.values import (
    WIDER,
    Kind,
    Operand,
    Value,
    common_kind,
    kind_of,
    widest,
)

BITS = {"int": ir.IntType(32), "float": ir.DoubleType(), "bool": ir.IntType(1)}
REAL = BITS["float"]
BYTES = {"int": 4, "float": 8}
LONG = ir.IntType(64)
POINTER = ir.PointerType()
LARGEST_INT = 2**31 - 1
LARGEST_EXACT = 2**53
LARGEST_SHIFT = 31


RARELY = (1, 1000)
"""How often one side of a jump is taken against the other, for LLVM."""


class Machine:
    """One function under construction.

    Parameters
    ----------
    lanes : int
        Loops side by side; 1 makes ordinary scalar code.
    arguments : sequence of kind or None
        Kinds of the arguments; None is a pointer.

    Attributes
    ----------
    guessing : int
        Above 0: what is written may run although its side was not taken, in some
        lane or at all.
    """

    def __init__(self, lanes: int, arguments: Sequence[Kind | None]) -> None:
        self.lanes = lanes
        self.guessing = 0
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
        """Turn an operand into a value of its kind or a wider one.

        Nothing is lost: a float64 does not become an integer here. Shared values are
        spread over lanes if asked.
        """
        if WIDER.index(kind_of(operand)) > WIDER.index(kind):
            raise RefusedError(f"a {kind_of(operand)} where an {kind} belongs")
        if not isinstance(operand, Value):
            return self._constant(operand, kind, laned=laned)
        code = operand.code
        if operand.kind == "bool" and kind != "bool":
            code = self.builder.zext(code, self._type("int", laned=operand.laned))
        if operand.kind != "float" and kind == "float":
            real = self._type("float", laned=operand.laned)
            if operand.real is None:
                code = self.builder.sitofp(code, real)
            else:
                code = operand.real
        if laned and not operand.laned:
            code = self._spread(code, kind)
        return Value(kind, laned or operand.laned, code)

    def _constant(self, number: float, kind: Kind, *, laned: bool) -> Value:
        if kind == "int" and not -LARGEST_INT - 1 <= number <= LARGEST_INT:
            raise RefusedError(f"{number} has more than 32 bits")
        if isinstance(number, int) and abs(number) > LARGEST_EXACT:
            raise RefusedError(f"{number} is no float64")
        plain: Any = float(number) if kind == "float" else int(number)
        if laned:
            plain = [plain] * self.lanes
        return Value(kind, laned, ir.Constant(self._type(kind, laned=laned), plain))

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
        kind = widest(left, right, 0)
        if name.endswith("Div") and not isinstance(right, Value) and right == 0:
            raise RefusedError("division by zero")
        if name == "FloorDiv" and kind == "int":
            return self._floor_quotient(left, right)
        if name == "Div":
            kind = "float"
        if name not in INSTRUCTIONS[kind]:
            raise RefusedError(f"no {name} of {kind} numbers")
        if name.endswith("Shift") and not isinstance(right, Value):
            _check_shift(right)
        a, b = self.together((left, right), kind)
        build = getattr(self.builder, INSTRUCTIONS[kind][name])
        return Value(kind, a.laned, build(a.code, b.code))

    def _floor_quotient(self, left: Operand, right: Operand) -> Value:
        # Exact: both have at most 32 bits, their quotient differs from the next
        # whole number by more than a float64 rounds.
        return self.floor(self.arithmetic("Div", left, right))

    def compare(self, sign: str, left: Operand, right: Operand) -> Value:
        """Compare two numbers; ``sign`` is Python's own."""
        kind = widest(left, right, 0)
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
        kind = common_kind(then, other)
        a, b = self.together((then, other), kind)
        if condition.laned:
            a, b = (self.as_value(v, kind, laned=True) for v in (a, b))
        code = self.builder.select(condition.code, a.code, b.code)
        return Value(kind, a.laned, code)

    def exceptionally(self, condition: Value, then: Operand, other: Operand) -> Value:
        """Choose where the first is rare: as `select`, by a jump if it can be.

        A processor guesses the jump, so what comes after need not wait for it.
        """
        kind = common_kind(then, other)
        a, b = self.together((then, other), kind)
        if condition.laned or a.laned or kind != "float":
            return self.select(condition, then, other)
        begin, rare, after = self.builder.block, self.block("rare"), self.block("after")
        self.branch(condition, rare, after, weights=RARELY)
        self.builder.position_at_end(rare)
        self.builder.branch(after)
        self.builder.position_at_end(after)
        return self.join(a, rare, b, begin)

    def negate(self, operand: Value) -> Value:
        """Turn the sign."""
        if operand.kind == "float":
            return Value("float", operand.laned, self.builder.fneg(operand.code))
        whole = self.as_value(operand, "int", laned=operand.laned)
        return Value("int", whole.laned, self.builder.neg(whole.code))

    def absolute(self, operand: Value) -> Value:
        """Drop the sign."""
        if operand.kind == "float":
            return self.intrinsic("llvm.fabs", operand)
        whole = self.as_value(operand, "int", laned=operand.laned)
        turned = self.negate(whole)
        return self.select(self.compare(">", turned, whole), turned, whole)

    def truth(self, operand: Value) -> Value:
        """Python's `bool`."""
        return operand if operand.kind == "bool" else self.compare("!=", operand, 0)

    def opposite(self, condition: Value) -> Value:
        """Turn a truth."""
        return Value("bool", condition.laned, self.builder.not_(condition.code))

    def truncate(self, operand: Value) -> Value:
        """Python's `int`."""
        if operand.kind != "float":
            return self.as_value(operand, "int", laned=operand.laned)
        if operand.laned:
            code = self._saturated(operand)
        else:
            convert = self._declared("llvm.fptosi.sat.i32.f64", BITS["int"], [REAL])
            code = self.builder.call(convert, [operand.code])
        return Value("int", operand.laned, code)

    def _saturated(self, operand: Value) -> Any:
        """Do at once what LLVM's own conversion does lane by lane."""
        ends = ((">", -(2.0**31)), ("<", 2.0**31 - 1.0))
        held = operand
        for sign, end in ends:
            held = self.select(self.compare(sign, held, end), held, end)
        number = self.compare("==", operand, operand)
        held = self.select(number, held, 0.0)
        return self.builder.fptosi(held.code, self._type("int", laned=True))

    def floor(self, operand: Value) -> Value:
        """Python's `math.floor`: an integer, whose zero has no sign."""
        if operand.kind != "float":
            return self.truncate(operand)
        whole = self.intrinsic("llvm.floor", operand)
        real = self.arithmetic("Add", whole, 0.0).code
        return replace(self.truncate(whole), real=real)

    def intrinsic(self, name: str, operand: Value) -> Value:
        """Call a function of a float64 that LLVM itself rounds exactly."""
        shape = operand.code.type
        lanes = f"v{self.lanes}" if operand.laned else ""
        function = self._declared(f"{name}.{lanes}f64", shape, [shape])
        code = self.builder.call(function, [operand.code])
        return Value("float", operand.laned, code)

    def library(self, name: str, operands: Sequence[Value]) -> Value:
        """Call a function of the C library, lane by lane."""
        function = self._declared(name, REAL, [REAL] * len(operands))
        # Known as what it is, it would become a cousin that rounds otherwise,
        # such as a square root for a power of one half.
        for attribute in ("nobuiltin", "nounwind", "readnone", "willreturn"):
            # llvmlite's own method does not know all names.
            set.add(function.attributes, attribute)
        if not operands[0].laned:
            code = self.builder.call(function, [operand.code for operand in operands])
            return Value("float", False, code)
        result = ir.Constant(self._type("float", laned=True), ir.Undefined)
        for lane in range(self.lanes):
            place = ir.Constant(BITS["int"], lane)
            given = [self.builder.extract_element(o.code, place) for o in operands]
            one = self.builder.call(function, given)
            result = self.builder.insert_element(result, one, place)
        return Value("float", True, result)

    def _declared(self, name: str, result: Any, types: Sequence[Any]) -> Any:
        return self.module.globals.get(name) or ir.Function(
            self.module, ir.FunctionType(result, types), name
        )

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
        self, place: int, index: Operand, kind: Kind, new: Value, *, laned: bool
    ) -> None:
        """Write an element of the array at a place among the arguments."""
        address = self._address(place, index, kind, self.lanes if laned else 1)
        self.builder.store(new.code, address, align=BYTES[kind])

    # -- flow ------------------------------------------------------------------

    def block(self, name: str) -> Any:
        """Make a block of code that nothing leads to yet."""
        return self.function.append_basic_block(name)

    def branch(
        self,
        condition: Value,
        then: Any,
        other: Any,
        weights: tuple[int, int] | None = None,
    ) -> None:
        """Go on at one of two blocks: the first if some lane says so."""
        code = condition.code
        if condition.laned or self.guessing:
            # Of a side not taken, it may be no number at all, for which LLVM
            # would be free to go anywhere.
            freeze = ir.instructions.Instruction(
                self.builder.block, code.type, "freeze", [code]
            )
            self.builder._insert(freeze)
            code = freeze
        if condition.laned:
            mask = self.builder.bitcast(code, ir.IntType(self.lanes))
            none = ir.Constant(mask.type, 0)
            code = self.builder.icmp_unsigned("!=", mask, none)
        jump = self.builder.cbranch(code, then, other)
        if weights:
            jump.set_weights(weights)

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


def _check_shift(count: float) -> None:
    if not 0 <= count <= LARGEST_SHIFT:
        raise RefusedError(f"a shift by {count} bits")


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
