"""`integer-pilot faults`: let everything fail in the closed loop, on purpose."""

import argparse
from typing import Any

from host_sim.cli.options import add_report, add_scenario, print_json


def add_parser(commands: "argparse._SubParsersAction[Any]") -> None:
    """Add the command."""
    parser = commands.add_parser(
        "faults", help="let everything fail in the closed loop; found how soon?"
    )
    add_scenario(parser)
    parser.add_argument(
        "--device",
        default="model",
        metavar="DEVICE",
        help="model, unix, or a serial port (default: model)",
    )
    add_report(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> None:
    """Run the campaign, then print and draw."""
    from host_sim.device.device_pilot import pilot_maker
    from host_sim.device.fault_campaign import run_as_dict, run_campaign
    from host_sim.device.link import DeviceLink
    from host_sim.device.opened import open_line
    from host_sim.scenario.load import load_scenario
    from host_sim.show.faults import faults_figure, show_faults
    from host_sim.show.files import check_writable
    from host_sim.show.progress import sharing
    from host_sim.show.style import check_picture, save

    check_writable(args.plot, kept=args.scenario)
    check_picture(args.plot)
    scenario = load_scenario(args.scenario)
    line = open_line(args.device, round(1e6 * scenario.law.tick_s))
    with DeviceLink(line) as link, sharing() as progress:
        runs = run_campaign(scenario, progress, pilot_maker(link))
    if args.plot:
        save(faults_figure(scenario, runs), args.plot)
    if args.json:
        print_json({"title": scenario.title, "runs": [run_as_dict(r) for r in runs]})
    else:
        show_faults(scenario, runs)
