"""Entry point: parse, hand over to the command, turn refusals into one line."""

import argparse
import sys
from collections.abc import Sequence

from host_sim.cli import (
    accept,
    build,
    calibration,
    compare,
    convert,
    demo,
    device,
    export,
    faults,
    identify,
    info,
    loop,
    margins,
    parameters,
    prove,
    quantise,
    rules,
    savings,
    select,
    size,
    step,
    tradeoff,
    tune,
    vectors,
)
from host_sim.errors import InputError

BAD_INPUT = 2
INTERRUPTED = 130


def build_parser() -> argparse.ArgumentParser:
    """Build the parser; each command adds its own part."""
    parser = argparse.ArgumentParser(
        prog="integer-pilot",
        description="A current-to-pressure controller in integers: simulate it, "
        "compare gains, trust the figures.",
        epilog="Compressed air stores energy: isolate and vent before work. "
        "Nothing here is a safety function.",
    )
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    for command in (
        demo,
        step,
        loop,
        compare,
        margins,
        identify,
        rules,
        tune,
        tradeoff,
        quantise,
        size,
        select,
        convert,
        savings,
        accept,
        calibration,
        faults,
        prove,
        vectors,
        export,
        build,
        device,
        parameters,
        info,
    ):
        command.add_parser(commands)
    return parser


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command.

    Parameters
    ----------
    arguments : sequence of str, optional
        The process's own unless given.

    Returns
    -------
    int
        0, or 2 for bad input, or 130 when interrupted.
    """
    args = build_parser().parse_args(arguments)
    try:
        args.run(args)
    except InputError as refusal:
        print(f"integer-pilot: {refusal}", file=sys.stderr)
        return BAD_INPUT
    except BrokenPipeError:
        # Whoever read the output has seen enough; there is nobody to tell.
        sys.stdout = None
    except KeyboardInterrupt:
        print("integer-pilot: stopped; finished files are kept", file=sys.stderr)
        return INTERRUPTED
    return 0
