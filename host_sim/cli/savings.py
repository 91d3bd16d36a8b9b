"""`integer-pilot savings`: what the step from one response to another is worth."""

import argparse
from pathlib import Path
from typing import Any

from host_sim.cli.options import add_report, print_json


def add_parser(commands: "argparse._SubParsersAction[Any]") -> None:
    """Add the command."""
    parser = commands.add_parser(
        "savings", help="time, money and payback of a better response, as ranges"
    )
    for side in ("before", "after"):
        parser.add_argument(
            side,
            type=Path,
            metavar=side.upper(),
            help="a scenario (.toml), simulated, or a recorded response (.csv)",
        )
    parser.add_argument(
        "--assume",
        type=Path,
        metavar="FILE",
        required=True,
        help="assumptions (TOML): cycles a year, costs, prices, ranges",
    )
    add_report(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> None:
    """Read all, simulate, then print and draw what was asked for."""
    from host_sim.show.cautions import CAUTIONS
    from host_sim.show.files import check_writable
    from host_sim.show.progress import ticking
    from host_sim.show.savings import savings_figure, show_savings
    from host_sim.show.style import check_picture, save
    from host_sim.size.savings import estimate_savings, read_case
    from host_sim.size.savings_words import savings_as_dict

    check_writable(args.plot)
    check_picture(args.plot)
    case = read_case(args.before, args.after, args.assume)
    with ticking("running", case.ticks) as each_tick:
        savings = estimate_savings(case, each_tick)
    if args.plot:
        save(savings_figure(savings), args.plot)
    if args.json:
        print_json({**savings_as_dict(savings), "cautions": CAUTIONS})
    else:
        show_savings(savings)
