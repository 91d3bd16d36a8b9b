"""`integer-pilot parameters`: a board's parameter block, to and from files."""

import argparse
import json
from functools import partial
from pathlib import Path
from typing import Any

from host_sim.cli.options import add_json, print_json

SOURCE = "scenario (.toml), words (.json), or a board's block"


def add_parser(commands: "argparse._SubParsersAction[Any]") -> None:
    """Add the command and its parts."""
    parser = commands.add_parser(
        "parameters", help="a board's parameters: look, pack, unpack"
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
