"""What a board's supervisor and relay test are told, as a scenario file says it."""

from dataclasses import dataclass

from host_sim.scenario.keys_device import MODES
from host_sim.scenario.tree import Tree


@dataclass(frozen=True)
class Supervision:
    """Times, bounds and counts of the supervisor; shares are of the pressure range."""

    start_s: float
    start_mode: int
    clear_s: float
    above_range_s: float
    stuck_s: float
    stuck_counts: int
    apart: float
    apart_s: float
    late_ticks: int
    late_weight: int
    blink_s: float


@dataclass(frozen=True)
class RelayTest:
    """Size [share of full output], band and travel [share of the range]."""

    size: float
    band: float
    travel: float
    patience_s: float
    cycles: int
    safety: float


def build_supervision(tree: Tree) -> Supervision:
    """Build what the supervisor is told, from the keys of the same names."""
    return Supervision(
        start_s=tree.number("supervisor.start"),
        start_mode=MODES.index(tree.text("supervisor.start_mode")),
        clear_s=tree.number("supervisor.clear"),
        above_range_s=tree.number("supervisor.above_range"),
        stuck_s=tree.number("supervisor.stuck"),
        stuck_counts=tree.whole("supervisor.stuck_counts"),
        apart=tree.number("supervisor.apart"),
        apart_s=tree.number("supervisor.apart_time"),
        late_ticks=tree.whole("supervisor.late_ticks"),
        late_weight=tree.whole("supervisor.late_weight"),
        blink_s=tree.number("supervisor.blink"),
    )


def build_relay_test(tree: Tree) -> RelayTest:
    """Build what the relay test is told, from the keys of the same names."""
    return RelayTest(
        size=tree.number("relay.size"),
        band=tree.number("relay.band"),
        travel=tree.number("relay.travel"),
        patience_s=tree.number("relay.patience"),
        cycles=tree.whole("relay.cycles"),
        safety=tree.number("relay.safety"),
    )
