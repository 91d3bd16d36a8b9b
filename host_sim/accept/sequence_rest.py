"""What happens at a constant input: long run, supply, flow, leakage."""

from dataclasses import dataclass

import numpy as np

from host_sim.accept.bench import Bench, readings, unsettled_words
from host_sim.accept.figures import FIGURES, Figure
from host_sim.accept.limits import shown
from host_sim.accept.rig import FlowingRig, SuppliedRig
from host_sim.accept.rows import Rows, Segment
from host_sim.measure.static_table import StaticRange
from host_sim.scenario.units import STANDARD

LONG, METERED = "long", "metered"


def _percent(span: StaticRange, difference_pa: float) -> float:
    return 100.0 * difference_pa / span.span_pa


@dataclass(frozen=True)
class LongRunSequence:
    """A constant input, watched for long after the pressure has come to rest."""

    level_percent: float = 50.0
    watch_s: float = 120.0
    name: str = "long_run"
    needs: tuple[type, ...] = ()
    figures: tuple[str, ...] = ("drift", "hunting")

    def run(self, bench: Bench) -> None:
        """Come to rest, then watch."""
        bench.read(self.level_percent, "level")
        bench.hold(self.level_percent, self.watch_s, LONG)

    def evaluate(self, rows: Rows, span: StaticRange) -> list[Figure]:
        """Compare the ends, and the extremes."""
        found = rows.segments(LONG)
        if not found:
            return [Figure(name, "not recorded", None) for name in self.figures]
        pressure_pa = found[0].pressure_pa
        tenth = max(len(pressure_pa) // 10, 1)
        drift_pa = pressure_pa[-tenth:].mean() - pressure_pa[:tenth].mean()
        text = f"over {found[0].time_s[-1] - found[0].time_s[0]:.4g} s"
        return [
            Figure("drift", text, _percent(span, float(drift_pa))),
            Figure("hunting", text, _percent(span, float(np.ptp(pressure_pa)))),
        ]


@dataclass(frozen=True)
class SupplySequence:
    """A constant input under other supply pressures, shares of the set one."""

    level_percent: float = 50.0
    shares: tuple[float, ...] = (1.0, 0.9, 1.0, 1.1, 1.0)
    name: str = "supply"
    needs: tuple[type, ...] = (SuppliedRig,)
    figures: tuple[str, ...] = ("supply_effect", "supply_excursion")

    def run(self, bench: Bench) -> None:
        """Set one supply pressure after another; leave the first one."""
        rig = bench.rig
        assert isinstance(rig, SuppliedRig)
        first_pa = rig.supply_set_pa
        try:
            for k, share in enumerate(self.shares):
                rig.set_supply(share * first_pa)
                bench.read(self.level_percent, f"{k} {share!r}")
        finally:
            rig.set_supply(first_pa)

    def evaluate(self, rows: Rows, span: StaticRange) -> list[Figure]:
        """Compare readings, and the way between them, with the first reading."""
        found = readings(rows)
        if len(found) < 2:
            return [Figure(name, "not recorded", None) for name in self.figures]
        effect, at = _furthest(found, span)
        after = [s for s in rows.segments() if s.time_s[0] > found[0].time_s[-1]]
        swing_pa = max(
            (float(x) for s in after for x in s.pressure_pa - found[0].mean_pa),
            key=abs,
        )
        words = unsettled_words(found)
        text = f"at {100.0 * float(at.words[2]):g} % of the set supply{words}"
        tried = ", ".join(f"{100.0 * float(s.words[2]):g}" for s in found)
        return [
            Figure("supply_effect", text, effect),
            Figure("supply_excursion", f"{tried} %", _percent(span, swing_pa)),
        ]


def _furthest(found: list[Segment], span: StaticRange) -> tuple[float, Segment]:
    """Find the reading furthest from the first [% of span]."""
    first_pa = found[0].mean_pa
    furthest = max(found[1:], key=lambda s: abs(s.mean_pa - first_pa))
    return _percent(span, furthest.mean_pa - first_pa), furthest


@dataclass(frozen=True)
class FlowSequence:
    """A constant input while air is drawn from the load, or fed into it.

    Flows are in kg/s and rise from 0; the same are drawn, then fed.
    """

    flows_kg_s: tuple[float, ...]
    level_percent: float = 50.0
    name: str = "flow"
    needs: tuple[type, ...] = (FlowingRig,)
    figures: tuple[str, ...] = ("droop", "relief_rise")

    def run(self, bench: Bench) -> None:
        """Draw one flow after another, then feed them; leave none."""
        rig = bench.rig
        assert isinstance(rig, FlowingRig)
        try:
            for sign in (1.0, -1.0):
                for flow_kg_s in (0.0, *(sign * flow for flow in self.flows_kg_s)):
                    rig.set_flow(flow_kg_s)
                    bench.read(self.level_percent, f"{sign!r} {flow_kg_s!r}")
        finally:
            rig.set_flow(0.0)

    def evaluate(self, rows: Rows, span: StaticRange) -> list[Figure]:
        """Compare the readings under flow with that before."""
        return [
            self._figure("droop", rows, span, 1.0),
            self._figure("relief_rise", rows, span, -1.0),
        ]

    def _figure(self, name: str, rows: Rows, span: StaticRange, sign: float) -> Figure:
        found = [s for s in readings(rows) if float(s.words[1]) == sign]
        if len(found) < 2:
            return Figure(name, "not recorded", None)
        # Droop is a fall and relief a rise: both count as positive.
        changes = [sign * (found[0].mean_pa - s.mean_pa) for s in found[1:]]
        k = int(np.argmax(changes))
        known = FIGURES["leakage"]
        flow = shown(abs(float(found[1 + k].words[2])), known, STANDARD)
        text = f"at {flow:.4g} {known.unit}{unsettled_words(found)}"
        return Figure(name, text, _percent(span, max(changes[k], 0.0)))


@dataclass(frozen=True)
class LeakageSequence:
    """Air drawn from the supply while the pressure rests.

    It counts all that flows: bleeds, leaks of device and load.
    """

    level_percent: float = 80.0
    watch_s: float = 10.0
    name: str = "leakage"
    needs: tuple[type, ...] = ()
    figures: tuple[str, ...] = ("leakage",)

    def run(self, bench: Bench) -> None:
        """Come to rest, then watch the meter."""
        bench.read(self.level_percent, "level")
        bench.hold(self.level_percent, self.watch_s, METERED)

    def evaluate(self, rows: Rows, span: StaticRange) -> list[Figure]:
        """Divide the air by the time."""
        found = rows.segments(METERED)
        if not found or not np.isfinite(found[0].air_used_kg).all():
            return [Figure("leakage", "no meter in the supply", None)]
        time_s, used_kg = found[0].time_s, found[0].air_used_kg
        flow_kg_s = float(np.polyfit(time_s, used_kg, 1)[0])
        input_percent = span.input_percent(found[0].current_ma)[0]
        flow = shown(flow_kg_s, FIGURES["leakage"], STANDARD)
        return [Figure("leakage", f"at {input_percent:.4g} % input", flow)]
