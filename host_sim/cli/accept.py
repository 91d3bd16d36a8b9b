"""`integer-pilot accept`: all sequences on a device, judged, with a report to keep."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from host_sim.cli.options import add_json, json_text, print_json

if TYPE_CHECKING:
    from host_sim.accept.folder import Folder

NOT_ACCEPTED = 1


def add_parser(commands: "argparse._SubParsersAction[Any]") -> None:
    """Add the command."""
    parser = commands.add_parser(
        "accept", help="acceptance sequences on a device, with a report to keep"
    )
    source = parser.add_mutually_exclusive_group(required=True)
    source.add_argument(
        "scenario", type=Path, nargs="?", metavar="SCENARIO", help="scenario file"
    )
    source.add_argument(
        "--from",
        dest="folder",
        type=Path,
        metavar="DIR",
        help="work all numbers out again from a folder's raw data",
    )
    parser.add_argument(
        "--limits",
        type=Path,
        metavar="FILE",
        help="your pass limits (TOML); with --from, in place of those before",
    )
    parser.add_argument(
        "--device",
        default="model",
        metavar="DEVICE",
        help="model, unix, emulated, or a serial port (default: model)",
    )
    parser.add_argument(
        "--to",
        type=Path,
        default=Path("acceptance"),
        metavar="DIR",
        help="folder for report and raw data; finished sequences are not run again "
        "(default: acceptance)",
    )
    add_json(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> None:
    """Run what is not there yet, evaluate, write the reports, print."""
    import sys

    from host_sim.accept.acceptance import evaluate_folder
    from host_sim.accept.folder import Folder
    from host_sim.accept.report import acceptance_as_dict, junit_text
    from host_sim.errors import InputError
    from host_sim.show.acceptance import acceptance_html, show_acceptance

    if args.folder is not None:
        folder, stopped = Folder.read(args.folder), ""
        if args.limits is not None:
            folder.copy_limits(args.limits)
            folder.write()
    else:
        folder, stopped = _run_device(args)
    done = evaluate_folder(folder, stopped)
    report = acceptance_as_dict(done)
    folder.write_text("report.json", json_text(report))
    folder.write_text("report.xml", junit_text(done))
    folder.write_text("report.html", acceptance_html(done, folder))
    if args.json:
        print_json(report)
    else:
        show_acceptance(done)
        print(f"{folder.path}/report.html")
    if stopped.startswith("interrupted"):
        raise KeyboardInterrupt
    if stopped:
        raise InputError(f"{stopped}; finished sequences are kept in {folder.path}")
    if not done.passes:
        sys.exit(NOT_ACCEPTED)


def _run_device(args: argparse.Namespace) -> "tuple[Folder, str]":
    from host_sim.accept.acceptance import run_acceptance
    from host_sim.accept.faults import run_faults
    from host_sim.accept.folder import Folder
    from host_sim.accept.limits import read_limits
    from host_sim.accept.model_rig import ModelRig
    from host_sim.device.device_pilot import pilot_maker
    from host_sim.device.made_with import made_with
    from host_sim.device.opened import opened_law
    from host_sim.scenario.load import load_scenario
    from host_sim.show.progress import sharing

    scenario = load_scenario(args.scenario)
    if args.limits is not None:
        read_limits(args.limits, scenario.basis)
    with opened_law(args.device, scenario) as make_law, sharing() as progress:
        with_what = made_with(args.device, make_law(), args.scenario, scenario)
        folder = Folder.begin(args.to, with_what, args.scenario, args.limits)
        stopped = run_acceptance(
            scenario, folder, lambda: ModelRig(scenario, make_law), progress
        )
        link = make_law().link if not stopped else None
        if link is not None and link.identity.supervised:
            stopped = run_faults(scenario, folder, pilot_maker(link), progress)
    return folder, stopped
