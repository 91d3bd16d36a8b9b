"""Many laws tried on many machines: what each pair was worth."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from host_sim.law.quantise import quantise
from host_sim.law.settings import LawSettings
from host_sim.loop.batch import Watched, Window, run_batch
from host_sim.loop.rig import FloatArray, IntArray, Rig, make_rig
from host_sim.loop.watch import MARKS
from host_sim.measure.watched import is_finite, measured, watch_steps
from host_sim.tune.family import Member


@dataclass(frozen=True)
class Machine:
    """A family member ready to be run."""

    member: Member
    rig: Rig
    windows: tuple[Window, ...]


@dataclass(frozen=True)
class Scores:
    """Figures of every law on every machine, shape (laws, machines).

    ``settling_s`` adds up all steps; a step that does not settle counts as its
    whole window and as much again as it is away from its band's edge, at most
    twice. Overshoot [share of the step] and travel [strokes a step] are those of
    the worst step. ``unsettled`` counts steps.
    """

    settling_s: FloatArray
    overshoot: FloatArray
    travel: FloatArray
    iae_pa_s: FloatArray
    unsettled: FloatArray

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

    Raises
    ------
    InputError
        A law that the board cannot keep.
    """
    blocks = [np.array(quantise(law).words, dtype=np.int32) for law in laws]
    windows = machines[0].windows
    marks = np.empty((len(laws), len(machines), len(windows), len(MARKS)))
    for place, found in enumerate(run_batch(_loops(blocks, machines))):
        marks[divmod(place, len(machines))] = found
    return score(marks, windows, machines[0].rig.tick_s)


def _loops(
    blocks: Sequence[IntArray], machines: Sequence[Machine]
) -> Iterator[Watched]:
    for block in blocks:
        for machine in machines:
            yield Watched(machine.rig.under(block), machine.windows)


def score(marks: FloatArray, windows: Sequence[Window], tick_s: float) -> Scores:
    """Turn marks of shape (laws, machines, windows, marks) into scores."""
    settling = np.zeros(marks.shape[:2])
    iae, unsettled = np.zeros_like(settling), np.zeros_like(settling)
    overshoot, travel = np.zeros_like(settling), np.zeros_like(settling)
    for place, window in enumerate(windows):
        size_pa = window.to_pa - window.from_pa
        step = measured(marks[:, :, place], size_pa, tick_s)
        length_s = window.ticks * tick_s
        bands_away = np.abs(step.steady_error_pa / size_pa) / window.band
        late_s = length_s * (1.0 + np.clip(bands_away - 1.0, 0.0, 1.0))
        never = np.isnan(step.settling_band_s)
        settling += np.where(never, late_s, step.settling_band_s)
        unsettled += never
        overshoot = np.maximum(overshoot, step.overshoot_percent / 100.0)
        travel = np.maximum(travel, step.travel_strokes)
        iae += step.iae_pa_s
    lost = ~is_finite(marks).all(axis=-1)
    for part in (settling, overshoot, travel, iae, unsettled):
        part[lost] = np.inf
    return Scores(settling, overshoot, travel, iae, unsettled)
