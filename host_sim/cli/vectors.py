"""`integer-pilot vectors`: write and check the golden vectors of the law."""

import argparse
from pathlib import Path
from typing import Any

from host_sim.cli.options import add_json, print_json

DIFFERENT = 1


def add_parser(commands: "argparse._SubParsersAction[Any]") -> None:
    """Add the command and its two parts."""
    parser = commands.add_parser(
        "vectors", help="golden vectors that check a port in any language"
    )
    parts = parser.add_subparsers(required=True, metavar="ACTION")
    for name, run, text in (
        ("write", run_write, "write the vectors into a folder"),
        ("check", run_check, "replay the vectors of a folder on this law"),
    ):
        part = parts.add_parser(name, help=text)
        part.add_argument("folder", type=Path, metavar="DIR", help="folder")
        add_json(part)
        part.set_defaults(run=run)


def run_write(args: argparse.Namespace) -> None:
    """Write both files."""
    from host_sim.cli.texts import write_texts
    from host_sim.prove.vectors import vector_texts

    write_texts(args.folder, vector_texts(), as_json=args.json)


def run_check(args: argparse.Namespace) -> None:
    """Replay; end with 1 where the law departs from the vectors."""
    from dataclasses import asdict

    from host_sim.prove.vectors import check_vectors

    found = check_vectors(args.folder)
    if args.json:
        print_json(asdict(found))
    elif found.difference is None:
        print(f"{found.episodes} episodes, {found.ticks} ticks: every word agrees")
    else:
        print(found.difference.in_words())
    if found.difference:
        raise SystemExit(DIFFERENT)
