"""A selection as two tables: what fits, and why the others do not."""

from host_sim.scenario.units import in_unit
from host_sim.show.size import conductance_text
from host_sim.show.tables import console, new_table, pressure_text, show_cautions
from host_sim.size.report import CONDUCTANCE
from host_sim.size.selection import Candidate, Selection

FITTING = (
    "fits",
    "price",
    "fills s",
    "vents s",
    "margin",
    "range",
    "one count",
    "seal",
)


def show_selection(selection: Selection) -> None:
    """Print what fits, what does not and why, and cautions."""
    out, scenario = console(), selection.scenario
    table = new_table(f"{scenario.title}: units by {selection.by}", FITTING)
    for candidate in selection.fitting:
        table.add_row(*_cells(selection, candidate))
    out.print(table)
    if not selection.fitting:
        out.print("none of the units that could be read fits")
    fill, exhaust = (
        conductance_text(path.conductance_m3_s_pa)
        for path in (selection.fill, selection.exhaust)
    )
    out.print(
        f"needed: forward C {fill}, exhaust C {exhaust} {CONDUCTANCE}; times are "
        "simulated at the least capacity that a unit may have"
    )
    for candidate in selection.refused:
        for reason in candidate.against:
            out.print(f"refused: {candidate.unit.name}: {reason}")
    for line in selection.catalogue.unreadable:
        out.print(f"left out: {line}")
    for candidate in selection.fitting:
        for words in candidate.assumed:
            out.print(f"assumed: {candidate.unit.name}: {words}")
    show_cautions(out)


def _cells(selection: Selection, candidate: Candidate) -> tuple[str, ...]:
    scenario, unit = selection.scenario, candidate.unit
    picked = candidate.range
    # What fits has a range; the type does not know it.
    assert picked is not None
    low, high = (
        in_unit(end_pa, "pressure", scenario.pressure_unit, scenario.basis)
        for end_pa in (picked.low_pa, picked.high_pa)
    )
    return (
        unit.name,
        f"{unit.price:g} {selection.catalogue.currency}".rstrip(),
        f"{candidate.fill_s:.3f}",
        f"{candidate.vent_s:.3f}",
        f"{100 * candidate.margin:.0f} %",
        f"{low:.4g} ... {high:.4g} {scenario.pressure_unit}",
        pressure_text(scenario)(picked.counts_pa),
        unit.seal,
    )
