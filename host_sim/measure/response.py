"""One response on a common scale, and the questions put to it.

*Progress* is 0 at the set point before the step and 1 at the final level,
``y = (p - p_from) / (p_final - p_from)``, so a downward step is measured exactly
as an upward one. Noise is part of the record: first crossing, peak and last exit
are those of the samples as they stand.
"""

from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from host_sim.measure.curve import (
    FloatArray,
    cut,
    first_rise_to,
    highest,
    last_entry_into,
    mean,
)

# The last tenth of the record decides what its end is worth: it is steady if the
# means of its four quarters lie within 1 % of the step. Means forgive noise, and
# four of them cannot agree by symmetry at the crest of a slow swing.
TAIL_SHARE = 0.1
STEADY_SPREAD = 0.01

# A pressure further than this from where the step starts was not at rest there.
START_TOLERANCE = 0.02


@dataclass(frozen=True)
class Response:
    """Progress over the time since the step.

    A question that the record cannot answer returns None, and the reason, like
    any doubt about an answer, is added to ``notes``.
    """

    time_s: FloatArray
    progress: FloatArray
    notes: list[str] = field(default_factory=list)

    def tail_means(self) -> list[float]:
        """Return the mean progress of the four quarters of the tail."""
        end_s = float(self.time_s[-1])
        edges_s = np.linspace(end_s * (1.0 - TAIL_SHARE), end_s, 5).tolist()
        quarters = (
            cut(self.time_s, self.progress, *ends) for ends in pairwise(edges_s)
        )
        return [mean(*quarter) for quarter in quarters]

    def tail_spread(self) -> float:
        """Return by how much the means of the tail's quarters differ."""
        means = self.tail_means()
        return max(means) - min(means)

    def check_start(self) -> None:
        """Note a pressure that is not where the step starts."""
        away_percent = 100.0 * abs(float(self.progress[0]))
        if away_percent > 100.0 * START_TOLERANCE:
            self.notes.append(
                f"start: {away_percent:.1f} % of the step away from the set point "
                "before the step, so the pressure was not at rest there"
            )

    def reach_s(self, level: float, name: str) -> float | None:
        """Return when the progress first reaches the level [s]."""
        reached_s = first_rise_to(self.time_s, self.progress, level)
        if reached_s is None:
            level_percent = f"{100.0 * level:.0f} %"
            furthest_percent = 100.0 * float(self.progress.max())
            self.notes.append(
                f"{name}: already past {level_percent} at the step"
                if self.progress[0] > level
                else f"{name}: {level_percent} never reached, "
                f"{furthest_percent:z.1f} % at most"
            )
        return reached_s

    def rise_s(self) -> float | None:
        """Return the time from first at 10 % to first at 90 % [s]."""
        start_s = self.reach_s(0.1, "rise time")
        end_s = self.reach_s(0.9, "rise time")
        if start_s is None or end_s is None:
            return None
        if not ((self.time_s > start_s) & (self.time_s < end_s)).any():
            self.notes.append(
                "rise time: no sample between 10 % and 90 %, too coarse to be sure"
            )
        return end_s - start_s

    def overshoot(self) -> tuple[float | None, float | None]:
        """Return overshoot [percent of the step] and peak time [s]."""
        peak_s, peak = highest(self.time_s, self.progress)
        if peak_s == 0.0:
            self.notes.append(
                "overshoot, peak time: the pressure never went beyond where it was "
                "at the step"
            )
            return None, None
        if self._peak_is_to_come():
            self.notes.append(
                "overshoot, peak time: the peak is still to come when the record "
                f"ends, {100.0 * peak:.1f} % reached by then"
            )
            return None, None
        overshoot_percent = 100.0 * max(0.0, peak - 1.0)
        if self.progress[-1] == self.progress.max():
            self.notes.append("peak time: no peak, the furthest point is the last")
            return overshoot_percent, None
        return overshoot_percent, peak_s

    def _peak_is_to_come(self) -> bool:
        top = int(np.argmax(self.progress))
        means = self.tail_means()
        is_late = self.time_s[top] >= (1.0 - TAIL_SHARE) * self.time_s[-1]
        is_last = top == self.progress.size - 1
        is_moving = max(means) - min(means) > STEADY_SPREAD
        return bool(is_late and is_moving and (is_last or means[-1] == max(means)))

    def settling_s(self, band: float, name: str) -> float | None:
        """Return when the progress comes within 1 +/- band to stay [s]."""
        deviation = self.progress - 1.0
        settled_s = last_entry_into(self.time_s, deviation, band)
        end_s = float(self.time_s[-1])
        if settled_s is None:
            self.notes.append(
                f"settling: not settled to {name} within the record, still "
                f"{100.0 * abs(float(deviation[-1])):.3g} % of the step away at its end"
            )
        elif end_s - settled_s < TAIL_SHARE * end_s:
            self.notes.append(
                f"settling: within {name} only for the last {end_s - settled_s:.3g} s "
                f"of {end_s:.3g} s, too short to be sure that it stays"
            )
        return settled_s

    def steady_progress(self) -> float | None:
        """Return the mean progress of the tail, if that is steady."""
        spread = self.tail_spread()
        if spread > STEADY_SPREAD:
            self.notes.append(
                "steady error: not steady, the last tenth of the record still moves "
                f"by {100.0 * spread:.1f} % of the step"
            )
            return None
        return sum(self.tail_means()) / 4.0
