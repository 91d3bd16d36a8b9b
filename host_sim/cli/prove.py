"""`integer-pilot prove`: show that the law never leaves 31 bits."""

import argparse
import sys
from pathlib import Path
from typing import Any

from host_sim.cli.options import add_json, print_json

NOT_PROVED = 1


def add_parser(commands: "argparse._SubParsersAction[Any]") -> None:
    """Add the command."""
    parser = commands.add_parser("prove", help="prove that the law never overflows")
    add_json(parser)
    parser.add_argument(
        "--table",
        type=Path,
        metavar="FILE",
        help="rewrite the table of margins between its markers in a Markdown file",
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> None:
    """Prove, print, write; exit with 1 when the proof fails."""
    from host_sim.prove.proof import prove_device, prove_law
    from host_sim.show.proof import proof_as_dict, show_proof, write_table

    proof, device = prove_law(), prove_device()
    if args.table:
        write_table(args.table, proof)
    if args.json:
        print_json({**proof_as_dict(proof), "device": proof_as_dict(device)})
    else:
        show_proof(proof, "law")
        show_proof(device, "device's tick around it")
    if not (proof.holds and device.holds):
        sys.exit(NOT_PROVED)
