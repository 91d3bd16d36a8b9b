"""Warm restart and power cut: how far, and for how long, the pressure strays."""

from dataclasses import dataclass

import numpy as np

from host_sim.accept.bench import Bench, readings
from host_sim.accept.figures import NEVER, Figure
from host_sim.accept.rig import PoweredRig
from host_sim.accept.rows import Rows, Segment
from host_sim.measure.curve import last_entry_into
from host_sim.measure.static_table import StaticRange

RESTARTED, DARK, RETURNED = "restarted", "dark", "returned"
BACK_PERCENT = 1.0
"""Within this share of span of the pressure before counts as back [%]."""


@dataclass(frozen=True)
class RestartSequence:
    """At a constant input: a warm restart, then a cut of power."""

    level_percent: float = 60.0
    cut_s: float = 0.5
    watch_s: float = 10.0
    name: str = "restart"
    needs: tuple[type, ...] = (PoweredRig,)
    figures: tuple[str, ...] = (
        "restart_excursion",
        "restart_time",
        "power_cut_excursion",
        "power_cut_time",
    )

    def run(self, bench: Bench) -> None:
        """Restart and watch, then cut, return and watch."""
        rig = bench.rig
        assert isinstance(rig, PoweredRig)
        bench.read(self.level_percent, RESTARTED)
        rig.restart()
        bench.hold(self.level_percent, self.watch_s, RESTARTED)
        bench.read(self.level_percent, RETURNED)
        rig.set_power(on=False)
        try:
            bench.hold(self.level_percent, self.cut_s, DARK)
        finally:
            rig.set_power(on=True)
        bench.hold(self.level_percent, self.watch_s, RETURNED)

    def evaluate(self, rows: Rows, span: StaticRange) -> list[Figure]:
        """Compare both watches with the readings before them."""
        before = {s.words[1]: s.mean_pa for s in readings(rows)}
        after = {s.purpose: s for s in rows.segments(RESTARTED, RETURNED)}
        figures = []
        for purpose, kind in ((RESTARTED, "restart"), (RETURNED, "power_cut")):
            if purpose not in before or purpose not in after:
                names = (f"{kind}_excursion", f"{kind}_time")
                figures += [Figure(name, "not recorded", None) for name in names]
                continue
            figures += _strayed(kind, after[purpose], before[purpose], span)
        return figures


def _strayed(
    kind: str, after: Segment, before_pa: float, span: StaticRange
) -> list[Figure]:
    off_percent = 100.0 * (after.pressure_pa - before_pa) / span.span_pa
    time_s = after.time_s - after.time_s[0]
    # A cut lets the pressure fall by as much as it lasts; what matters is beyond.
    excursion = float(off_percent[np.argmax(np.abs(off_percent))])
    if kind == "power_cut":
        excursion = max(float(off_percent.max()), 0.0)
    back_s = last_entry_into(time_s, off_percent, BACK_PERCENT)
    text = f"to within {BACK_PERCENT:g} % of span"
    if back_s is None:
        back_s, text = NEVER, f"not {text} within {time_s[-1]:.3g} s"
    return [
        Figure(f"{kind}_excursion", f"over {time_s[-1]:.3g} s", excursion),
        Figure(f"{kind}_time", text, back_s),
    ]
