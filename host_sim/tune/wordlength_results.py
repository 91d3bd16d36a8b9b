"""What a word-length study finds, and what counts as enough."""

from dataclasses import dataclass
from typing import Self

from host_sim.measure.effort import REVERSAL_THRESHOLD
from host_sim.scenario.load import Scenario
from host_sim.tune.wordlength_integral import IntegralStudy
from host_sim.tune.wordlength_rest import Rest, Swing

BAND_SHARE = 0.5
"""Of the settle band: so far from the ideal law a run may be."""
LATER_SHARE, LATER_TICKS = 0.1, 2
"""So much later a step may settle."""
SWING_PERCENT = 100.0 * REVERSAL_THRESHOLD
"""So much more than under the ideal law the output may swing at rest."""


@dataclass(frozen=True)
class Trial:
    """One choice of bits, against the ideal law.

    ``largest_percent`` and ``rms_percent`` are pressure differences of the whole
    run, of the range. ``later_s`` and ``later_share`` are the most that a step
    settles later; ``lost_steps`` do not settle at all. ``rest_error_percent`` is
    the largest change of the mean pressure at rest, of the range, and
    ``swing_growth_percent`` the largest growth of the output's swing there.
    """

    largest_percent: float
    rms_percent: float
    signal_to_noise_db: float
    later_s: float
    later_share: float
    lost_steps: int
    rest: tuple[Swing, ...]
    rest_error_percent: float
    swing_growth_percent: float

    @property
    def output_swing_percent(self) -> float:
        """Largest swing of the output at rest, peak to peak."""
        return max(swing.output_swing_percent for swing in self.rest)

    @property
    def pressure_swing_percent(self) -> float:
        """Largest swing of the load at rest, peak to peak, of the range."""
        return max(swing.pressure_swing_percent for swing in self.rest)

    @property
    def period_s(self) -> float | None:
        """Period of the cycle that swings the output most, if any [s]."""
        return largest_cycle_s(self.rest)


def largest_cycle_s(rest: tuple[Swing, ...]) -> float | None:
    """Find the period of the cycle that swings the output most [s]."""
    cycles = [swing for swing in rest if swing.state == "cycle"]
    if not cycles:
        return None
    return max(cycles, key=lambda swing: swing.output_swing_percent).period_s


@dataclass(frozen=True)
class Axis:
    """One place where bits can be saved.

    ``has`` is what the scenario's converter, or the board, has now; ``trials`` go
    from the most bits to the fewest.
    """

    name: str
    has: int
    trials: dict[int, Trial]


@dataclass(frozen=True)
class Limits:
    """What is enough: how far from the ideal law a trial may be."""

    off_percent: float
    later_s: float

    @classmethod
    def of(cls, scenario: Scenario) -> Self:
        """Take them from a scenario's settle band and tick."""
        off_percent = 100.0 * BAND_SHARE * scenario.settle_band
        return cls(off_percent, LATER_TICKS * scenario.law.tick_s)

    def shortfalls(self, trial: Trial) -> list[str]:
        """Say in what a trial is not enough; empty if it is enough."""
        found = []
        if trial.lost_steps:
            found.append(f"does not settle after {trial.lost_steps} of the steps")
        if trial.later_s > self.later_s and trial.later_share > LATER_SHARE:
            found.append(f"settles {trial.later_s:.2g} s later")
        if trial.largest_percent > self.off_percent:
            found.append(f"{trial.largest_percent:.2g} % of range off in the run")
        if trial.rest_error_percent > self.off_percent:
            found.append(f"{trial.rest_error_percent:.2g} % of range off at rest")
        if trial.swing_growth_percent > SWING_PERCENT:
            grown = trial.swing_growth_percent
            found.append(f"output swings {grown:.2g} % more at rest")
        return found

    def fewest(self, axis: Axis) -> int | None:
        """Find the fewest bits that are enough, and all more too."""
        enough = None
        for bits, trial in axis.trials.items():
            if self.shortfalls(trial):
                break
            enough = bits
        return enough


@dataclass(frozen=True)
class Together:
    """Few bits at every place at once that are enough.

    ``extra`` bits more at every place than are enough there alone, as far as the
    board has them.
    """

    extra: int
    bits: dict[str, int]
    trial: Trial


@dataclass(frozen=True)
class RestCase:
    """A law left alone: remainders carried, dropped, or ideal."""

    law: str
    deadband: float
    swings: tuple[Swing, ...]


@dataclass(frozen=True)
class WordLengthStudy:
    """All that was run and found.

    ``own`` is the scenario as it stands; ``together`` is None where not even the
    most bits of some place are enough. ``doubtful_steps`` settle too late in their
    window to be compared.
    """

    scenario: Scenario
    limits: Limits
    own: Trial
    together: Together | None
    axes: tuple[Axis, ...]
    rest: Rest
    rest_cases: tuple[RestCase, ...]
    integral: IntegralStudy | None
    doubtful_steps: int

    def left_alone(self, law: str, deadband: float) -> RestCase:
        """Find what a law did at rest, with a deadband or without."""
        cases = [case for case in self.rest_cases if case.deadband == deadband]
        return next(case for case in cases if case.law == law)
