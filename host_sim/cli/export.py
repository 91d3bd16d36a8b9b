"""`integer-pilot export`: the law in another language."""

import argparse
from pathlib import Path
from typing import Any

from host_sim.cli.options import add_json


def add_parser(commands: "argparse._SubParsersAction[Any]") -> None:
    """Add the command."""
    parser = commands.add_parser("export", help="write the law as C99")
    parser.add_argument("language", choices=["c"], help="c: C99, with a self-test")
    parser.add_argument("folder", type=Path, metavar="DIR", help="folder")
    add_json(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> None:
    """Write the files; say how to compile and check them."""
    from host_sim.cli.texts import write_texts
    from host_sim.prove.c99 import export_c99

    write_texts(args.folder, export_c99(), as_json=args.json)
    if not args.json:
        print("check it there:")
        print("  integer-pilot vectors write .")
        print("  cc -std=c99 -O2 -o selftest law.c selftest.c")
        print("  ./selftest parameters.txt ticks.txt")
