"""`integer-pilot info`: versions, engines, what is missing and how to get it."""

import argparse
from typing import Any

from host_sim.cli.options import add_json, print_json


def add_parser(commands: "argparse._SubParsersAction[Any]") -> None:
    """Add the command."""
    parser = commands.add_parser("info", help="versions, engines, what is missing")
    add_json(parser)
    parser.add_argument(
        "--keys", action="store_true", help="print the keys of scenario files instead"
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> None:
    """Collect and print."""
    from host_sim.prove.inventory import take_inventory
    from host_sim.scenario.keys import keys_document
    from host_sim.show.inventory import show_inventory

    if args.keys:
        print(keys_document(), end="")
        return
    inventory = take_inventory()
    if args.json:
        print_json(inventory)
    else:
        show_inventory(inventory)
