"""Known mistakes of a compiler, patched in: each must break the agreement."""

import math
from dataclasses import replace

import both_ways
import pytest
import straight_constructs as constructs

from host_sim.compiling import branches, expressions
from host_sim.compiling.arithmetic import Arithmetic
from host_sim.compiling.branches import Branches
from host_sim.compiling.machine import Machine
from host_sim.compiling.memory import Memory
from host_sim.compiling.values import Value

REALS = [0.0, -0.0, -0.5, math.nan, *constructs.TURNS]
WHOLES = [0, 1, -1, 5, -9]


def swap_sides(plain):
    return lambda self, test, then, other: plain(self, test, other, then)


def order_unequal(plain):
    def compare(self, sign, left, right):
        if sign != "!=":
            return plain(self, sign, left, right)
        above, below = (plain(self, s, left, right) for s in "><")
        return self.select(above, True, below)

    return compare


def negate_one_bit(plain):
    def negate(self, operand):
        if operand.kind != "bool":
            return plain(self, operand)
        return Value("bool", operand.laned, self.builder.neg(operand.code))

    return negate


def signed_whole_zero(plain):
    def floor(self, operand):
        whole = plain(self, operand)
        real = self.intrinsic("llvm.floor", operand) if whole.real else None
        return replace(whole, real=real.code if real else None)

    return floor


def divide_towards_zero(plain):
    return lambda self, left, right: self.truncate(self.arithmetic("Div", left, right))


def power_known_to_llvm(plain):
    def library(self, name, operands):
        shape, laned = operands[0].code.type, operands[0].laned
        full = f"llvm.{name}.{f'v{self.lanes}' if laned else ''}f64"
        function = self._declared(full, shape, [shape] * len(operands))
        code = self.builder.call(function, [operand.code for operand in operands])
        return Value("float", laned, code)

    return library


def later_extreme(plain):
    def extreme(self, sign, best, other):
        beyond = self._compare(sign, best, other)
        if isinstance(beyond, bool):
            return best if beyond else other
        return self.machine.select(beyond, best, other)

    return extreme


def same_by_equality(plain):
    return lambda then, other: (
        plain(then, other) or (isinstance(then, float) and then == other)
    )


def write_of_one_side(plain):
    def written(self, sides, **options):
        plain(self, sides, **options)
        return dict(sides[0].registers.dirty)

    return written


def never_settled(plain):
    def unless(self, truth, settling, rest, frame):
        if isinstance(truth, bool):
            return plain(self, truth, settling, rest, frame)
        more = rest()
        chosen = (True, more) if settling else (more, False)
        return self.machine.select(truth, *chosen)

    return unless


def late_change(plain):
    def store(self, array, index, new):
        if isinstance(index, Value) or index != 1:
            plain(self, array, index, new)

    return store


MISTAKES = {
    swap_sides: (Machine, "select", constructs.find_extremes),
    order_unequal: (Machine, "compare", constructs.compare_all),
    negate_one_bit: (Machine, "negate", constructs.count_truths),
    signed_whole_zero: (Machine, "floor", constructs.convert_kinds),
    divide_towards_zero: (Machine, "_floor_quotient", constructs.divide_down),
    power_known_to_llvm: (Machine, "library", constructs.take_roots),
    later_extreme: (Arithmetic, "_extreme", constructs.find_extremes),
    same_by_equality: (branches, "_same", constructs.choose_zero),
    write_of_one_side: (Branches, "_written", constructs.write_in_sides),
    never_settled: (expressions.Expressions, "_unless", constructs.settle_early),
    late_change: (Memory, "store", constructs.leave_early),
}


@pytest.fixture
def fresh():
    """Let nothing compiled before or with a mistake be used."""
    both_ways.compiled.cache_clear()
    yield
    both_ways.compiled.cache_clear()


@pytest.mark.parametrize("mistake", MISTAKES, ids=lambda mistake: mistake.__name__)
def test_straight_agreement_notices_a_known_mistake(mistake, fresh, monkeypatch):
    owner, name, function = MISTAKES[mistake]
    given = constructs.arguments(REALS, WHOLES)
    both_ways.agree(function, constructs.SIGNATURE, given)
    both_ways.compiled.cache_clear()
    monkeypatch.setattr(owner, name, mistake(getattr(owner, name)))
    with pytest.raises(AssertionError):
        both_ways.agree(function, constructs.SIGNATURE, given)
