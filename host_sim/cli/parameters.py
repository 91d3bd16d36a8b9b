"""`integer-pilot parameters`: a board's parameter block, in files and on the board."""

import argparse
import json
from functools import partial
from pathlib import Path
from typing import Any

from host_sim.cli.options import add_json, print_json

TICK_US = 10_000
"""Of a device that is started only to try a command."""
DEVICE = "serial port of the board, or unix or model to try it"
SOURCE = "scenario (.toml), words (.json), or a board's block"


def add_parser(commands: "argparse._SubParsersAction[Any]") -> None:
    """Add the command and its parts."""
    parser = commands.add_parser(
        "parameters", help="a board's parameters: look, pack, send, fetch"
    )
    parts = parser.add_subparsers(dest="part", required=True, metavar="PART")
    show = parts.add_parser("show", help="every word with its range and meaning")
    show.add_argument("source", type=Path, metavar="SOURCE", help=SOURCE)
    add_json(show)
    show.set_defaults(run=run_show)
    pack = parts.add_parser("pack", help="make the bytes that a board stores")
    pack.add_argument("source", type=Path, metavar="SOURCE", help=SOURCE)
    pack.add_argument("target", type=Path, metavar="BLOCK", help="file to write")
    pack.set_defaults(run=run_pack)
    unpack = parts.add_parser("unpack", help="write a block's words as JSON")
    unpack.add_argument("source", type=Path, metavar="BLOCK", help=SOURCE)
    unpack.add_argument("target", type=Path, metavar="WORDS.json", help="to write")
    unpack.set_defaults(run=run_unpack)
    send = parts.add_parser("send", help="give a board parameters, and save them there")
    send.add_argument("source", type=Path, metavar="SOURCE", help=SOURCE)
    send.add_argument("device", metavar="PORT", help=DEVICE)
    send.set_defaults(run=run_send)
    fetch = parts.add_parser("fetch", help="fetch the parameters that a board uses")
    fetch.add_argument("device", metavar="PORT", help=DEVICE)
    fetch.add_argument("target", type=Path, metavar="BLOCK", help="file to write")
    fetch.set_defaults(run=run_fetch)


def run_show(args: argparse.Namespace) -> None:
    """Print a block."""
    from host_sim.device.block_text import block_as_dict, read_block
    from host_sim.show.parameters import show_parameters

    block = read_block(args.source)
    if args.json:
        print_json(block_as_dict(block))
    else:
        show_parameters(block, str(args.source))


def run_pack(args: argparse.Namespace) -> None:
    """Write a block's bytes."""
    from host_sim.device.block_file import pack_block
    from host_sim.device.block_text import read_block
    from host_sim.show.files import check_writable, write_whole

    check_writable(args.target, kept=args.source)
    raw = pack_block(read_block(args.source))
    write_whole(args.target, partial(Path.write_bytes, data=raw))
    print(f"{args.target}: {len(raw)} bytes")


def run_unpack(args: argparse.Namespace) -> None:
    """Write a block's words by name."""
    from host_sim.device.block_text import block_as_dict, read_block
    from host_sim.show.files import check_writable, write_whole

    check_writable(args.target, kept=args.source)
    text = json.dumps(block_as_dict(read_block(args.source)), indent=2) + "\n"
    write_whole(args.target, partial(Path.write_text, data=text, encoding="utf-8"))
    print(f"{args.target}: written")


def run_send(args: argparse.Namespace) -> None:
    """Send a block to a device and save it there."""
    from host_sim.device.block_text import read_block
    from host_sim.device.link import DeviceLink
    from host_sim.device.opened import open_line
    from host_sim.device.transfer import send
    from host_sim.show.cautions import CAUTIONS

    block = read_block(args.source)
    with DeviceLink(open_line(args.device, round(1e6 * block.tick_s))) as link:
        send(link, block)
    print(f"{args.device}: {len(block.words)} parameters saved")
    print(CAUTIONS[0])


def run_fetch(args: argparse.Namespace) -> None:
    """Fetch a device's parameters into a block file."""
    from host_sim.device.block_file import pack_block
    from host_sim.device.link import DeviceLink
    from host_sim.device.opened import open_line
    from host_sim.device.transfer import fetch
    from host_sim.show.files import check_writable, write_whole

    check_writable(args.target)
    with DeviceLink(open_line(args.device, TICK_US)) as link:
        raw = pack_block(fetch(link))
    write_whole(args.target, partial(Path.write_bytes, data=raw))
    print(f"{args.target}: {len(raw)} bytes")
