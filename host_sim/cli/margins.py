"""`integer-pilot margins`: how far the sampled loop stays from instability."""

import argparse
from typing import Any

from host_sim.cli.options import add_report, add_scenario, print_json

DEFAULT = ["20 %", "50 %", "80 %"]


def add_parser(commands: "argparse._SubParsersAction[Any]") -> None:
    """Add the command."""
    parser = commands.add_parser(
        "margins", help="gain and phase margin, Ms, bandwidth of the sampled loop"
    )
    add_scenario(parser)
    parser.add_argument(
        "--at",
        action="append",
        metavar="SHARE",
        help="operating point, a share of the pressure range; may be given several "
        f"times (else {', '.join(DEFAULT)})".replace("%", "%%"),
    )
    add_report(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> None:
    """Measure, then print and draw what was asked for."""
    from host_sim.measure.margin_study import margin_study, margin_study_as_dict
    from host_sim.scenario.load import load_scenario
    from host_sim.scenario.units import parse
    from host_sim.show.files import check_writable
    from host_sim.show.margins import margins_figure, show_margins
    from host_sim.show.style import check_picture, save

    check_writable(args.plot, kept=args.scenario)
    check_picture(args.plot)
    shares = [parse(text, "ratio", "--at") for text in args.at or DEFAULT]
    study = margin_study(load_scenario(args.scenario), shares)
    if args.plot:
        save(margins_figure(study), args.plot)
    if args.json:
        print_json(margin_study_as_dict(study))
    else:
        show_margins(study)
