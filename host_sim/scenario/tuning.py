"""What a tuning must serve and hold, as a scenario file says it."""

from dataclasses import dataclass

from host_sim.scenario.refusal import refusal
from host_sim.scenario.tree import Tree


@dataclass(frozen=True)
class Family:
    """Machines alike but for these spreads, shares either side of the scenario's.

    ``supply`` is a share of the gauge pressure; temperatures are those of air
    and walls together.
    """

    members: int
    seed: int
    supply: float
    load_volume: float
    sensor_lag: float
    hysteresis: float
    temperature_low_k: float
    temperature_high_k: float


@dataclass(frozen=True)
class Limits:
    """Worst overshoot [share of a step], Ms [-] and output travel [strokes a step]."""

    overshoot: float
    ms: float
    travel: float


def build_family(tree: Tree) -> Family:
    """Build the family.

    Raises
    ------
    InputError
        Temperatures the wrong way round.

    Notes
    -----
    Source: field by field, the key of the same name.
    """
    low, high = "family.temperature_low", "family.temperature_high"
    if tree.number(low) >= tree.number(high):
        raise refusal(
            tree.where(high), tree.said(high), f"not above {low}", f"raise {high}"
        )
    return Family(
        members=tree.whole("family.members"),
        seed=tree.whole("family.seed"),
        supply=tree.number("family.supply"),
        load_volume=tree.number("family.load_volume"),
        sensor_lag=tree.number("family.sensor_lag"),
        hysteresis=tree.number("family.hysteresis"),
        temperature_low_k=tree.number(low),
        temperature_high_k=tree.number(high),
    )


def build_limits(tree: Tree) -> Limits:
    """Build the limits, from the keys of the same names."""
    return Limits(
        overshoot=tree.number("limits.overshoot"),
        ms=tree.number("limits.ms"),
        travel=tree.number("limits.travel"),
    )
