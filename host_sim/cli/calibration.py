"""`integer-pilot calibration`: a typed or exported calibration table evaluated."""

import argparse
from pathlib import Path
from typing import Any

from host_sim.cli.options import add_report, print_json


def add_parser(commands: "argparse._SubParsersAction[Any]") -> None:
    """Add the command."""
    parser = commands.add_parser(
        "calibration",
        help="inaccuracy, hysteresis, repeatability, linearity of a table of readings",
        description="Evaluate a calibration: columns such as 'current [mA]' and "
        "'pressure [bar gauge]', perhaps 'cycle' and 'direction' (up, down); without "
        "these the order of the inputs tells them.",
    )
    parser.add_argument("table", type=Path, metavar="TABLE", help="readings (CSV)")
    parser.add_argument(
        "--range",
        required=True,
        metavar="RANGE",
        help="what current means what pressure: '4..20 mA = 3..15 psig'",
    )
    parser.add_argument(
        "--limits", type=Path, metavar="FILE", help="pass limits with units (TOML)"
    )
    parser.add_argument(
        "--dead-band",
        metavar="SHARE",
        help="dead band known from a test of its own, '0.1 %%' of input or '0.02 mA'",
    )
    add_report(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> None:
    """Evaluate, then print and write what was asked for."""
    from host_sim.accept.calibration import calibrate, calibration_as_dict
    from host_sim.show.calibration import calibration_figure, show_calibration
    from host_sim.show.files import check_writable
    from host_sim.show.style import check_picture, save

    check_writable(args.plot, kept=args.table)
    check_writable(args.plot, kept=args.limits)
    check_picture(args.plot)
    done = calibrate(args.table, args.range, args.limits, args.dead_band)
    if args.plot:
        save(calibration_figure(done), args.plot)
    if args.json:
        print_json(calibration_as_dict(done))
    else:
        show_calibration(done)
