"""`integer-pilot convert`: one flow capacity in every unit of the trade."""

import argparse
from typing import Any

from host_sim.cli.options import add_json, print_json

CONDITIONS = "7 bar gauge to 6 bar gauge"
SCFM_STATE = "60 degF, 14.696 psia"


def add_parser(commands: "argparse._SubParsersAction[Any]") -> None:
    """Add the command."""
    parser = commands.add_parser(
        "convert", help="a flow capacity as C, Cv, Kv, l/min ANR and SCFM"
    )
    parser.add_argument(
        "capacity",
        metavar="CAPACITY",
        help="'4 dm3/(s.bar) b 0.3', 'Cv 1.2', 'Kv 1.0 xT 0.7' or "
        "'600 l/min ANR at 7 bar gauge to 6 bar gauge'",
    )
    parser.add_argument(
        "--at",
        metavar="PRESSURES",
        default=CONDITIONS,
        help=f"pressures that flows are stated at (default: {CONDITIONS!r})",
    )
    parser.add_argument(
        "--scfm",
        metavar="STATE",
        default=SCFM_STATE,
        help=f"reference state of SCFM (default: {SCFM_STATE!r})",
    )
    add_json(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> None:
    """Convert and print."""
    from host_sim.show.convert import show_conversion
    from host_sim.size.converting import conversion_as_dict, convert

    conversion = convert(args.capacity, args.at, args.scfm)
    if args.json:
        print_json(conversion_as_dict(conversion))
    else:
        show_conversion(conversion)
