"""`integer-pilot device`: check, talk to, and install a device."""

import argparse
from pathlib import Path
from typing import Any

from host_sim.cli.options import add_json, print_json

DEVICE = "model, unix, emulated, or a serial port"
TICK_US = 10_000
"""Of what is started for a check; the vectors carry their own parameters."""
DIFFERENT = 1


def add_parser(commands: "argparse._SubParsersAction[Any]") -> None:
    """Add the command and its parts."""
    parser = commands.add_parser("device", help="check, talk to, install a device")
    parts = parser.add_subparsers(required=True, metavar="ACTION")
    check = parts.add_parser("check", help="golden vectors on the device, bit for bit")
    check.add_argument("device", metavar="DEVICE", help=DEVICE)
    check.add_argument(
        "--vectors", type=Path, metavar="DIR", help="vectors of `vectors write`"
    )
    add_json(check)
    check.set_defaults(run=run_check)
    console = parts.add_parser("console", help="a terminal on the device's line")
    console.add_argument("device", metavar="DEVICE", help="unix, or a serial port")
    console.set_defaults(run=run_console)
    install = parts.add_parser("install", help="copy the board's package, by mpremote")
    install.add_argument("port", metavar="PORT", help="serial port")
    add_json(install)
    install.set_defaults(run=run_install)


def run_check(args: argparse.Namespace) -> None:
    """Check; end with 1 where the device departs from the vectors."""
    from dataclasses import asdict

    from host_sim.device.check import check_device
    from host_sim.device.link import DeviceLink
    from host_sim.device.opened import open_line
    from host_sim.show.loop import identity_text
    from host_sim.show.progress import ticking

    with DeviceLink(open_line(args.device, TICK_US)) as link:
        with ticking("checking", 0) as each_tick:
            found = check_device(link, args.vectors, each_tick)
        identity, repeated = link.identity, link.repeated
    if args.json:
        print_json(
            {
                "device": {"name": args.device, **asdict(identity)},
                "frames_repeated": repeated,
                **asdict(found),
            }
        )
    else:
        print(f"device {identity_text(args.device, identity)}")
        words = f"{found.episodes} episodes, {found.ticks} ticks: every word agrees"
        print(found.difference.in_words() if found.difference else words)
    if found.difference:
        raise SystemExit(DIFFERENT)


def run_console(args: argparse.Namespace) -> None:
    """Pass bytes through until the input ends or Ctrl-C."""
    import sys

    from host_sim.device.console import talk
    from host_sim.device.opened import open_line

    line = open_line(args.device, TICK_US, in_step=False)
    try:
        talk(line, sys.stdin.buffer, sys.stdout.buffer)
    finally:
        line.close()


def run_install(args: argparse.Namespace) -> None:
    """Install; say what was copied."""
    from dataclasses import asdict

    from host_sim.device.install import install

    done = install(args.port)
    if args.json:
        print_json(asdict(done))
    else:
        print("\n".join(done.files))
        print(f"{len(done.files)} files copied below the board's library folder")
