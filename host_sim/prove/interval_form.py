"""A number as a polynomial in others: what plain bounds lose, and get back.

``low + (share * (high - low) >> bits)`` lies between ``low`` and ``high``, but
bounds alone forget that ``low`` stands in it twice. Here a number is written as

    number * 2**bits = polynomial(inputs) + rest

with every input in each product at most once. Such a polynomial takes its
extremes at the corners of the inputs' bounds, since it is linear in each input
while the others stand still. A right shift puts what it drops, 0 ... 2**bits - 1,
into the rest. What does not fit this form is an input of its own.
"""

from collections.abc import Callable
from itertools import islice, product
from typing import NamedTuple

from host_sim.prove.interval import Interval

MOST_FORMS = 4
MOST_INPUTS = 4


class Form(NamedTuple):
    """``number * 2**bits = sum(factor * product of inputs) + rest``.

    ``terms`` maps the identities of a product's inputs to its factor; ``inputs``
    maps an identity to its interval.
    """

    terms: dict[frozenset[int], int]
    inputs: dict[int, Interval]
    bits: int = 0
    rest_low: int = 0
    rest_high: int = 0


def bounds_together(
    operation: str, one: Interval, other: Interval
) -> tuple[int, int] | None:
    """Bound a sum or difference of numbers that depend on each other.

    Parameters
    ----------
    operation : str
        ``"add"`` or ``"sub"``.
    one, other : Interval

    Returns
    -------
    tuple of int, or None
        Lowest and highest, perhaps wider than bounds alone give; None when the
        numbers have no input in common.
    """
    known: dict[int, list[Form]] = {}
    first, last = _forms(one, known), _forms(other, known)
    inputs = set().union(*(form.inputs for form in first))
    if all(inputs.isdisjoint(form.inputs) for form in last):
        return None
    combine = _sum if operation == "add" else _difference
    ends = [_bounds(combine(a, b)) for a in first for b in last]
    return min(low for low, _ in ends), max(high for _, high in ends)


def _forms(number: Interval, known: dict[int, list[Form]]) -> list[Form]:
    """List a number's possible forms, one for each path behind it."""
    if number.is_point and not number.made:
        return [Form({frozenset(): number.low}, {})]
    if not number.made or len(number.made) > 1 + MOST_FORMS:
        return [_input(number)]
    if id(number) not in known:
        operation, *operands = number.made
        parts = [_forms(operand, known) for operand in operands]
        found = _combined(number, operation, parts)
        known[id(number)] = found
        if len(found) > MOST_FORMS or any(len(f.inputs) > MOST_INPUTS for f in found):
            known[id(number)] = [_input(number)]
    return known[id(number)]


def _combined(number: Interval, operation: str, parts: list[list[Form]]) -> list[Form]:
    if operation == "join":
        return [form for path in parts for form in path]
    if operation not in _COMBINE:
        return [_input(number)]
    combine = _COMBINE[operation]
    chosen = islice(product(*parts), MOST_FORMS + 1)
    return [combine(*operands) or _input(number) for operands in chosen]


def _input(number: Interval) -> Form:
    return Form({frozenset((id(number),)): 1}, {id(number): number})


def _sum(one: Form, other: Form) -> Form:
    bits = max(one.bits, other.bits)
    up, other_up = 1 << (bits - one.bits), 1 << (bits - other.bits)
    terms = {key: up * number for key, number in one.terms.items()}
    for key, number in other.terms.items():
        terms[key] = terms.get(key, 0) + other_up * number
    low = up * one.rest_low + other_up * other.rest_low
    high = up * one.rest_high + other_up * other.rest_high
    return Form(terms, one.inputs | other.inputs, bits, low, high)


def _negative(form: Form) -> Form:
    terms = {key: -number for key, number in form.terms.items()}
    return Form(terms, form.inputs, form.bits, -form.rest_high, -form.rest_low)


def _difference(one: Form, other: Form) -> Form:
    return _sum(one, _negative(other))


def _product(one: Form, other: Form) -> Form | None:
    exact = (0, 0, 0)
    if one[2:] != exact or other[2:] != exact or one.inputs.keys() & other.inputs:
        return None
    terms: dict[frozenset[int], int] = {}
    for key, number in one.terms.items():
        for other_key, other_number in other.terms.items():
            together = key | other_key
            terms[together] = terms.get(together, 0) + number * other_number
    return Form(terms, one.inputs | other.inputs)


def _shifted(form: Form, count: Form) -> Form | None:
    if form.bits or count.inputs:
        return None
    bits = sum(count.terms.values())
    dropped = (1 << bits) - 1
    return form._replace(bits=bits, rest_low=form.rest_low - dropped)


_COMBINE: dict[str, Callable[..., Form | None]] = {
    "add": _sum,
    "sub": _difference,
    "neg": _negative,
    "mul": _product,
    "shr": _shifted,
}


def _bounds(form: Form) -> tuple[int, int]:
    names = list(form.inputs)
    corners = []
    for ends in product(*((form.inputs[n].low, form.inputs[n].high) for n in names)):
        at = dict(zip(names, ends, strict=True))
        corners.append(sum(_term(k, factor, at) for k, factor in form.terms.items()))
    low, high = min(corners) + form.rest_low, max(corners) + form.rest_high
    return -(-low >> form.bits), high >> form.bits


def _term(key: frozenset[int], factor: int, at: dict[int, int]) -> int:
    for name in key:
        factor *= at[name]
    return factor
