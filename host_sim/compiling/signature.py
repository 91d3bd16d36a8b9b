"""What a compiled function is given: kinds, lengths, and what is known beforehand."""

import operator
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt

from host_sim.compiling.machine import LARGEST_INT
from host_sim.compiling.values import Stored

DTYPES: dict[Stored, Any] = {"int": np.dtype(np.int32), "float": np.dtype(np.float64)}
SIGNS = {"+": 1.0, "-": -1.0}

AnyArray = npt.NDArray[Any]


@dataclass(frozen=True)
class Number:
    """A scalar argument, the same for all lanes."""

    kind: Stored


@dataclass(frozen=True)
class Table:
    """An array argument.

    Parameters
    ----------
    kind : str
    laned : bool
        One column for each lane.
    length : int or None
        Number of elements; None: told at each call by the array itself; 0: not
        told, which is enough where nobody asks.
    row : int
        Elements in a row, for two indices.
    scratch : bool
        No argument at all: kept in registers.
    known : tuple of (int, number or str)
        Elements known beforehand: the number, or ``"+"`` or ``"-"``.
    """

    kind: Stored
    laned: bool = True
    length: int | None = 0
    row: int = 0
    scratch: bool = False
    known: tuple[tuple[int, float | str], ...] = ()


Part = Number | Table
Signature = Mapping[str, Part | Mapping[str, Part]]
"""Every argument of a function in order; a mapping is one that is a tuple."""

Names = tuple[str, str]
"""Of an argument, and of a part of it, or nothing."""


def passed_parts(signature: Signature) -> list[tuple[Names, Part]]:
    """List what is passed to machine code: all but scratch."""
    found: list[tuple[Names, Part]] = []
    for name, part in signature.items():
        if isinstance(part, Mapping):
            found += [((name, inner), one) for inner, one in part.items()]
        else:
            found.append(((name, ""), part))
    return [
        (names, part)
        for names, part in found
        if not (isinstance(part, Table) and part.scratch)
    ]


@dataclass(frozen=True, eq=False)
class NumberCheck:
    """Lets a number pass that the code can take."""

    label: str
    kind: Stored

    def __call__(self, given: Any) -> int | float:
        """Return it as a plain number.

        Raises
        ------
        TypeError, ValueError
        """
        if self.kind == "float":
            return float(given)
        whole = operator.index(given)
        if abs(whole) > LARGEST_INT:
            raise ValueError(f"{self.label}: {whole} has more than 32 bits")
        return whole


@dataclass(frozen=True, eq=False)
class TableCheck:
    """Lets an array pass that is what the code was told of it."""

    label: str
    table: Table
    lanes: int

    @cached_property
    def _columns(self) -> int:
        return self.lanes if self.table.laned else 1

    def __call__(self, given: AnyArray) -> None:
        """Raise if it does not.

        Raises
        ------
        TypeError, ValueError
        """
        table, columns = self.table, self._columns
        if given.dtype != DTYPES[table.kind] or not given.flags.carray:
            kind = table.kind
            raise TypeError(f"{self.label}: not a plain writable array of {kind}")
        if table.length:
            fits = given.size == table.length * columns
        else:
            fits = given.size % (columns * (table.row or 1)) == 0
        if not fits or (columns > 1 and given.shape[-1] != columns):
            raise ValueError(f"{self.label}: shape {given.shape} for {table}")
        if table.known:
            self._check_known(given)

    @cached_property
    def _known(self) -> tuple[list[int], AnyArray, list[int], AnyArray]:
        """Places and bits of known numbers, places and signs of others."""
        exact = {k: n for k, n in self.table.known if not isinstance(n, str)}
        signs = {k: SIGNS[n] for k, n in self.table.known if isinstance(n, str)}
        numbers = np.array([*exact.values()], dtype=DTYPES[self.table.kind])
        signed = np.array([*signs.values()])
        return [*exact], _bits(numbers)[:, None], [*signs], signed[:, None]

    def _check_known(self, given: AnyArray) -> None:
        places, bits, signed, signs = self._known
        rows = given.reshape(-1, self._columns)
        as_told = (_bits(rows[places]) == bits).all()
        if not (as_told and (rows[signed] * signs > 0.0).all()):
            raise ValueError(f"{self.label}: not the known numbers of {self.table}")


def _bits(numbers: AnyArray) -> AnyArray:
    """Integers instead of numbers, because 0.0 is not -0.0."""
    return numbers.view(np.int64) if numbers.dtype == DTYPES["float"] else numbers


def check_apart(arrays: Sequence[AnyArray], addresses: Sequence[int]) -> None:
    """Refuse arrays that share memory: registers would not notice.

    Raises
    ------
    ValueError
    """
    spans = sorted(
        (start, start + one.nbytes)
        for start, one in zip(addresses, arrays, strict=True)
        if one.nbytes
    )
    for (_, end), (start, _) in pairwise(spans):
        if start < end:
            raise ValueError("two arrays share memory")
