"""`integer-pilot loop`: a scenario's closed loop with a device in it."""

import argparse
from typing import Any

from host_sim.cli.options import add_outputs, add_scenario, print_json

DEVICE = "model, unix, emulated, or a serial port"


def add_parser(commands: "argparse._SubParsersAction[Any]") -> None:
    """Add the command."""
    parser = commands.add_parser(
        "loop", help="run a scenario with a device deciding, same report as step"
    )
    add_scenario(parser)
    parser.add_argument("--device", required=True, metavar="DEVICE", help=DEVICE)
    parser.add_argument(
        "--free-running",
        action="store_true",
        help="the device ticks by its own clock, the plant by the wall clock",
    )
    add_outputs(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> None:
    """Run it; where the line is lost, write and print what there is first."""
    from host_sim.device.closed_loop import device_study_as_dict, run_with_device
    from host_sim.device.link import DeviceLink
    from host_sim.device.opened import open_line
    from host_sim.errors import InputError
    from host_sim.scenario.load import load_scenario
    from host_sim.show.figures import step_figure
    from host_sim.show.files import check_writable, write_whole
    from host_sim.show.loop import show_device_study
    from host_sim.show.progress import ticking
    from host_sim.show.style import check_picture, save

    check_writable(args.csv, args.plot, kept=args.scenario)
    check_picture(args.plot)
    scenario = load_scenario(args.scenario)
    tick_us = round(scenario.law.tick_s * 1e6)
    line = open_line(args.device, tick_us, not args.free_running)
    with (
        DeviceLink(line) as link,
        ticking("running", 2 * scenario.ticks) as each_tick,
    ):
        link.require_clock(own=args.free_running)
        done = run_with_device(scenario, link, each_tick)
    if args.csv:
        write_whole(args.csv, done.study.run.write_csv)
    if args.plot:
        save(step_figure(done.study), args.plot)
    if args.json:
        print_json(device_study_as_dict(done))
    else:
        show_device_study(done)
    if done.lost:
        ticks = done.study.run.ticks
        raise InputError(f"{done.lost} ({ticks} of {scenario.ticks} ticks are kept)")
