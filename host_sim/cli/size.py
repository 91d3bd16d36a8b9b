"""`integer-pilot size`: how much flow capacity a machine needs."""

import argparse
from typing import Any

from host_sim.cli.options import add_report, add_scenario, print_json


def add_parser(commands: "argparse._SubParsersAction[Any]") -> None:
    """Add the command."""
    parser = commands.add_parser(
        "size", help="capacity, pressure range and supply for wanted times"
    )
    add_scenario(parser)
    add_report(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> None:
    """Size, then print and draw what was asked for."""
    from host_sim.scenario.load import load_scenario
    from host_sim.show.files import check_writable
    from host_sim.show.progress import naming
    from host_sim.show.size import show_sizing, sizing_figure
    from host_sim.show.style import check_picture, save
    from host_sim.size.report import sizing_as_dict
    from host_sim.size.sizing import size

    check_writable(args.plot, kept=args.scenario)
    check_picture(args.plot)
    scenario = load_scenario(args.scenario)
    with naming("sizing") as each_part:
        sizing = size(scenario, each_part)
    if args.plot:
        save(sizing_figure(sizing), args.plot)
    if args.json:
        print_json(sizing_as_dict(sizing))
    else:
        show_sizing(sizing)
