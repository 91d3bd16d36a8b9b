"""What the host benchmarks found, and what it is compared with."""

from dataclasses import dataclass

from bench import host_races as races
from bench.host_first_run import FirstRun
from bench.host_timing import Speed
from host_sim.compiling.instructions import InstructionCount

REACH_COMPILING_S, REACH_CACHED_S = 6.0, 0.6


@dataclass(frozen=True)
class Pair:
    """An engine of the project beside a peer of the same race."""

    race: str
    ours: str
    peer: str
    reach: float | None = None


PAIRS = (
    Pair("single", races.COMPILED, races.C_NATIVE, 0.85),
    Pair("single", races.COMPILED, races.C_PLAIN),
    Pair("single", races.COMPILED, races.PLAIN),
    Pair("single", races.COMPILED, races.CONTROL_SOLVER, 200.0),
    Pair("single", races.COMPILED, races.CONTROL_STEPS, 200.0),
    Pair("single", races.COMPILED, races.SOLVE_IVP, 250.0),
    Pair("batch", races.LANES, races.C_NATIVE, 2.0),
    Pair("batch", races.LANES, races.NUMPY),
    Pair("cores", races.ALL_CORES, races.LANES),
    Pair("chain", races.COMPILED, races.PLAIN),
    Pair("chain", races.LANES, races.PLAIN),
)


@dataclass(frozen=True)
class Ratio:
    """How many times as fast as a peer: best goes, and median rounds."""

    pair: Pair
    best: float
    median: float

    @property
    def met(self) -> bool | None:
        """Whether the reach is met; None without one."""
        return None if self.pair.reach is None else self.best >= self.pair.reach


Speeds = dict[str, dict[str, Speed]]


@dataclass(frozen=True)
class Results:
    """Everything that one run of the benchmarks measured.

    Attributes
    ----------
    speeds : dict
        By race and entrant.
    first_runs : dict
        By scenario, compiled and cached.
    codes : dict
        By scenario, single and in lanes.
    machine : dict of str to str
    """

    speeds: Speeds
    first_runs: dict[str, dict[str, FirstRun]]
    codes: dict[str, dict[str, InstructionCount]]
    machine: dict[str, str]

    def ratios(self) -> list[Ratio]:
        """Compare every pair."""
        return [self._ratio(pair) for pair in PAIRS]

    def _ratio(self, pair: Pair) -> Ratio:
        ours, peer = (self.speeds[pair.race][name] for name in (pair.ours, pair.peer))
        return Ratio(
            pair,
            ours.best_ticks_per_s / peer.best_ticks_per_s,
            ours.median_ticks_per_s / peer.median_ticks_per_s,
        )
