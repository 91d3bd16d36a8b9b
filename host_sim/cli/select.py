"""`integer-pilot select`: which units of a catalogue do what is wanted."""

import argparse
from pathlib import Path
from typing import Any

from host_sim.cli.options import add_json, add_scenario, print_json

CRITERIA = ("price", "margin", "resolution")


def add_parser(commands: "argparse._SubParsersAction[Any]") -> None:
    """Add the command."""
    parser = commands.add_parser(
        "select", help="which units of a catalogue fit, and why others do not"
    )
    add_scenario(parser)
    parser.add_argument(
        "catalogue",
        type=Path,
        metavar="CATALOGUE",
        help="units (CSV); host_sim/scenario/shipped/catalogue.csv explains itself",
    )
    parser.add_argument(
        "--by",
        choices=CRITERIA,
        default=CRITERIA[0],
        help="order of what fits: least price, largest margin of time, finest "
        f"resolution (default: {CRITERIA[0]})",
    )
    add_json(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> None:
    """Read the catalogue, simulate every unit, then print."""
    from host_sim.scenario.load import load_scenario
    from host_sim.show.progress import naming
    from host_sim.show.select import show_selection
    from host_sim.size.catalogue import read_catalogue
    from host_sim.size.selection import select, selection_as_dict

    scenario = load_scenario(args.scenario)
    air = scenario.plant.arrangement.air
    catalogue = read_catalogue(args.catalogue, air, scenario.basis)
    with naming("trying") as each_unit:
        selection = select(scenario, catalogue, args.by, each_unit)
    if args.json:
        print_json(selection_as_dict(selection))
    else:
        show_selection(selection)
