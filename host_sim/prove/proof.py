"""The proof that the law never leaves 31 bits, by interval arithmetic.

What is shown: for every parameter block, input and state within the ranges that
`firmware_model.law.layout` declares, one tick computes no intermediate outside
+-(2**30 - 1), divides by nothing but positive numbers, shifts by 0 ... 29, reads
and stores within the arrays and within one table of them, and leaves every state
word within its declared range. So it holds for every tick after it.

How: `tick` calls its stages one after another. First `tick` itself is run with
each stage replaced by its promise: what comes in must be within the declared
ranges, what comes out may be anything within them. Then each stage that was
called is run on its own, from anything within the ranges, and must keep that
promise at its end. So the proof assumes nothing between two stages but the
declared ranges. `reset` is run from declared inputs and a declared output, every
other word being any number of 32 bits, and must end within the ranges.

Why to believe it: see `interval` for the arithmetic and for narrowing,
`interval_paths` for forks and joins, `proof_source` for what is compiled. The
worst value of a line is a bound that no run exceeds, not a value that a run must
reach: where bounds lose a correlation, the true margin is larger.
"""

import math
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from host_sim.prove.interval import LIMIT, Interval
from host_sim.prove.interval_paths import Paths, ProofError
from host_sim.prove.proof_source import (
    Law,
    device_sources,
    is_law_function,
    law_sources,
    load_layout,
)
from host_sim.prove.proof_words import Row, Words, spans_of

ANY_WORD = (-(2**31), 2**31 - 1)
KEPT_BY_RESET = "OUTPUT"


@dataclass(frozen=True)
class Line:
    """A line of the law and the largest magnitude that it can compute."""

    module: str
    function: str
    line: int
    worst: int

    @property
    def margin_bits(self) -> float:
        """Doublings until the limit: ``log2((2**30 - 1) / worst)``."""
        return math.log2(LIMIT / self.worst) if self.worst else math.inf


@dataclass(frozen=True)
class Failure:
    """What could not be shown: where, the numbers, and the path to it."""

    root: str
    what: str
    where: str
    path: str


@dataclass
class Proof:
    """The outcome of a proof."""

    roots: list[str] = field(default_factory=list)
    failures: list[Failure] = field(default_factory=list)
    lines: list[Line] = field(default_factory=list)
    paths: int = 0
    operations: int = 0
    time_s: float = 0.0

    @property
    def holds(self) -> bool:
        """Whether everything was shown."""
        return not self.failures

    def tightest_of_each_function(self) -> list[Line]:
        """List each function's line with the least margin, tightest first."""
        tightest: dict[tuple[str, str], Line] = {}
        for line in self.lines:
            key = (line.module, line.function)
            if key not in tightest or line.worst > tightest[key].worst:
                tightest[key] = line
        return sorted(tightest.values(), key=lambda line: -line.worst)


class _Prover:
    """Proves what one function calls, stage by stage.

    Parameters
    ----------
    sources : mapping
        Source text by module name.
    """

    def __init__(self, sources: Mapping[str, str]) -> None:
        self.paths = Paths()
        self.law = Law(sources, self.paths)
        self.layout = load_layout(sources)
        rows = spans_of(self.layout.STATE)
        self.proof = Proof()
        self.stages: dict[str, Callable[..., Interval | None]] = {}
        fixed = spans_of(self.layout.PARAMETERS)
        _check_ranges((*rows, *fixed))
        self.params = Words(self.paths, fixed, [], writable=False)
        self.state = Words(self.paths, rows, self.paths.words, writable=True)

    def prove(self) -> Proof:
        """Prove the law's tick and its reset."""
        started = time.perf_counter()
        reset = self.law.module("tick")["reset"]
        self._prove_stages("tick", "tick", kept=("reset",))
        self.state.forget(*self._before_reset())
        self._root("reset", reset, self.state)
        self._close_account(time.perf_counter() - started)
        return self.proof

    def prove_device(self) -> Proof:
        """Prove a device's tick around the law's, which is proved by itself."""
        started = time.perf_counter()
        # Helpers of the stages run within them; the law's tick keeps its promise.
        helpers = ("start", "take_parameters", "begin", "clear", "lowest_bit")
        from_detect = ("lasts", "seen_by_law", "seen_in_pressure", "seen_in_time")
        kept = (*helpers, *from_detect, "reset", "put_word", "crc16", "const")
        self._prove_stages("supervisor", "run", kept, given=("tick", "check"))
        self._close_account(time.perf_counter() - started)
        return self.proof

    def _prove_stages(
        self,
        module: str,
        root: str,
        kept: Sequence[str],
        given: Sequence[str] = (),
    ) -> None:
        """Prove a root with its stages promised, then each stage that is not given."""
        space = self.law.module(module)
        function = space[root]
        for name, made in list(space.items()):
            if is_law_function(made) and name not in (root, *kept):
                space[name] = self._promise(name, made)
        self._root(root, function, self.state, self.params)
        for name, stage in self.stages.items():
            if name not in given:
                self.state.forget()
                self._root(name, stage, self.state, self.params)

    def _promise(
        self, name: str, stage: Callable[..., Interval | None]
    ) -> Callable[[Words, Words], None]:
        def promised(state: Words, params: Words) -> None:
            if state is not self.state or params is not self.params:
                self.paths.fail(f"{name} is called with other arrays")
            state.check()
            state.forget()
            self.stages[name] = stage

        return promised

    def _before_reset(self) -> list[tuple[int, int]]:
        return [
            span if meaning.startswith("input:") or name == KEPT_BY_RESET else ANY_WORD
            for name, span, meaning in self.layout.STATE
        ]

    def _root(
        self, name: str, function: Callable[..., Interval | None], *arrays: Words
    ) -> None:
        self.proof.roots.append(name)
        try:
            function(*arrays)
            self.state.check()
        except ProofError as error:
            failure = Failure(name, error.what, error.where, error.path)
            self.proof.failures.append(failure)
            self.paths.abandon()

    def _close_account(self, time_s: float) -> None:
        proof, paths = self.proof, self.paths
        proof.paths, proof.operations = paths.paths, paths.operations
        proof.time_s = time_s
        proof.lines = [
            Line(Path(code.co_filename).stem, code.co_name, line, worst)
            for (code, line), worst in sorted(
                paths.worst.items(), key=lambda item: -item[1]
            )
        ]


def _check_ranges(rows: tuple[Row, ...]) -> None:
    for name, (low, high) in rows:
        if not -LIMIT <= low <= high <= LIMIT:
            raise ValueError(f"{name}: declared {low} ... {high}")


def prove_law(sources: Mapping[str, str] | None = None) -> Proof:
    """Prove the law, or what a patched copy of its text makes of it.

    Parameters
    ----------
    sources : mapping, optional
        Source text by module name; the law's own files unless given.

    Returns
    -------
    Proof

    >>> prove_law().holds
    True
    """
    return _Prover(law_sources() if sources is None else sources).prove()


def prove_device(sources: Mapping[str, str] | None = None) -> Proof:
    """Prove the tick of a device around the law: supervisor and detection.

    Parameters
    ----------
    sources : mapping, optional
        As `prove_law`; the device's own files unless given.

    Returns
    -------
    Proof

    >>> prove_device().holds
    True
    """
    return _Prover(device_sources() if sources is None else sources).prove_device()
