"""What a machine is sized for, as a scenario file says it."""

from dataclasses import dataclass

from host_sim.scenario.refusal import refusal
from host_sim.scenario.tree import Tree

# Paths whose quantity must not exceed that of the next.
ASCENDING = (
    ("range.low", "wanted.start"),
    ("wanted.start", "wanted.end"),
    ("wanted.end", "range.high"),
    ("wanted.temperature_low", "wanted.temperature_high"),
)


@dataclass(frozen=True)
class Wanted:
    """Strokes and surroundings that a pressure controller must master.

    Filling leads the load from ``start_pa`` towards ``end_pa``, venting back;
    either counts as done when no more than the share ``within`` of the change
    is missing. Forward flows are stated at ``flow_drop_pa`` below the supply.
    An empty ``port`` means any.
    """

    fill_time_s: float
    vent_time_s: float
    start_pa: float
    end_pa: float
    within: float
    flow_drop_pa: float
    temperature_low_k: float
    temperature_high_k: float
    medium: str
    port: str


def build_wanted(tree: Tree) -> Wanted | None:
    """Build what is wanted, or nothing when the file does not say it.

    Parameters
    ----------
    tree : Tree
        The file's keys.

    Returns
    -------
    Wanted or None
        In SI units; pressures absolute.

    Raises
    ------
    InputError
        An end that is not above its start, or a stroke outside the range.

    Notes
    -----
    Source: field by field, the key of the same name.
    """
    if not tree.has("wanted"):
        return None
    _check_order(tree)
    return Wanted(
        fill_time_s=tree.number("wanted.fill_time"),
        vent_time_s=tree.number("wanted.vent_time"),
        start_pa=tree.number("wanted.start"),
        end_pa=tree.number("wanted.end"),
        within=tree.number("wanted.within"),
        flow_drop_pa=tree.number("wanted.flow_drop"),
        temperature_low_k=tree.number("wanted.temperature_low"),
        temperature_high_k=tree.number("wanted.temperature_high"),
        medium=tree.text("wanted.medium"),
        port=tree.text("wanted.port"),
    )


def _check_order(tree: Tree) -> None:
    for low, high in ASCENDING:
        if tree.number(low) > tree.number(high):
            path, why = high, f"below {low}"
            if high == "range.high":
                path, why = low, f"above {high}"
            remedy = f"raise {high} or lower {low}"
            raise refusal(tree.where(path), tree.said(path), why, remedy)
    if tree.number("wanted.start") == tree.number("wanted.end"):
        path, why = "wanted.end", "no change from wanted.start"
        raise refusal(tree.where(path), tree.said(path), why, "raise wanted.end")
