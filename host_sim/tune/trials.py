"""Many laws tried on many machines: what each pair was worth."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from host_sim.errors import InputError
from host_sim.law.quantise import quantise
from host_sim.law.settings import LawSettings
from host_sim.loop.batch import TAIL_START, Watched, Window, run_batch
from host_sim.loop.rig import FloatArray, IntArray, Rig, make_rig
from host_sim.loop.watch import MARKS
from host_sim.measure.watched import is_finite, measured, watch_steps
from host_sim.tune.family import Member

LATEST = 2.0
"""Windows that a step counts as at most when it does not settle."""


@dataclass(frozen=True)
class Machine:
    """A family member ready to be run."""

    member: Member
    rig: Rig
    windows: tuple[Window, ...]


@dataclass(frozen=True)
class Scores:
    """Figures of every law on every machine, shape (laws, machines).

    ``settling_s`` adds up all steps. A step settles when it comes into its band
    before the last tenth of its window, to stay; one that does not counts as its
    whole window and as much more as its end is away from the band, two windows at
    most. ``unsettled`` counts such steps. Overshoot [share of the step] and travel
    [strokes a step] are those of the worst step. A law that the board cannot
    keep, or with which the plant leaves the physical range, has infinite figures.
    """

    settling_s: FloatArray
    overshoot: FloatArray
    travel: FloatArray
    unsettled: FloatArray

    def of(self, law: int) -> "Scores":
        """Return those of one law, shape (machines,)."""
        return Scores(**{name: part[law] for name, part in vars(self).items()})

    def worst(self) -> "Scores":
        """Return the worst over the machines, shape (laws,)."""
        return Scores(**{name: part.max(axis=1) for name, part in vars(self).items()})


def make_machines(members: Sequence[Member]) -> list[Machine]:
    """Prepare family members.

    Raises
    ------
    InputError
        A machine that no plant can be, or a command without a step.
    """
    rigs = [make_rig(member.scenario) for member in members]
    return [
        Machine(member, rig, watch_steps(member.scenario, rig).windows)
        for member, rig in zip(members, rigs, strict=True)
    ]


def try_laws(laws: Sequence[LawSettings], machines: Sequence[Machine]) -> Scores:
    """Run every law on every machine, as the board keeps it.

    Parameters
    ----------
    laws : sequence of LawSettings
        Quantised before they are run: what is tried is on the board's lattice.
    machines : sequence of Machine

    Returns
    -------
    Scores
    """
    blocks = [kept_words(law) for law in laws]
    windows = machines[0].windows
    kept = [place for place, block in enumerate(blocks) if block is not None]
    marks = np.full((len(laws), len(machines), len(windows), len(MARKS)), np.nan)
    found = run_batch(_loops([b for b in blocks if b is not None], machines))
    for place in kept:
        for row in range(len(machines)):
            marks[place, row] = next(found)
    return score(marks, windows, machines[0].rig.tick_s)


def kept_words(law: LawSettings) -> IntArray | None:
    """Quantise a law; None where the board cannot keep it."""
    try:
        return np.array(quantise(law).words, dtype=np.int32)
    except InputError:
        return None


def _loops(
    blocks: Sequence[IntArray], machines: Sequence[Machine]
) -> Iterator[Watched]:
    for block in blocks:
        for machine in machines:
            yield Watched(machine.rig.under(block), machine.windows)


def score(marks: FloatArray, windows: Sequence[Window], tick_s: float) -> Scores:
    """Turn marks of shape (laws, machines, windows, marks) into scores."""
    settling = np.zeros(marks.shape[:2])
    overshoot, travel = np.zeros_like(settling), np.zeros_like(settling)
    unsettled = np.zeros_like(settling)
    for place, window in enumerate(windows):
        size_pa = window.to_pa - window.from_pa
        step = measured(marks[:, :, place], size_pa, tick_s)
        length_s = window.ticks * tick_s
        bands_away = np.abs(step.steady_error_pa / size_pa) / window.band
        late_s = length_s * np.clip(bands_away, 1.0, LATEST)
        is_settled = step.settling_band_s < TAIL_START * length_s
        settling += np.where(is_settled, step.settling_band_s, late_s)
        unsettled += ~is_settled
        overshoot = np.maximum(overshoot, step.overshoot_percent / 100.0)
        travel = np.maximum(travel, step.travel_strokes)
    lost = ~is_finite(marks).all(axis=-1)
    for part in (settling, overshoot, travel):
        part[lost] = np.inf
    return Scores(settling, overshoot, travel, unsettled)
