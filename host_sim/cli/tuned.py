"""What `tune` and `tradeoff` share: a model to read, a law to write."""

import argparse
import json
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from host_sim.show.files import check_writable, write_whole

if TYPE_CHECKING:
    from host_sim.law.settings import LawSettings
    from host_sim.scenario.load import Scenario
    from host_sim.tune.identified import Identified


def add_tuning(parser: argparse.ArgumentParser) -> None:
    """Add --model, --write, --block and --seed."""
    parser.add_argument(
        "--model", type=Path, metavar="FILE", help="a recorded plant (of 'identify')"
    )
    parser.add_argument(
        "--write", type=Path, metavar="FILE", help="write the scenario with the gains"
    )
    parser.add_argument(
        "--block", type=Path, metavar="FILE", help="write the board's parameters (JSON)"
    )
    parser.add_argument(
        "--seed", type=int, default=1, help="of the search (default: 1)"
    )


def check_files(args: argparse.Namespace) -> None:
    """Refuse, before the search, files that could not be written after it.

    Raises
    ------
    InputError
        One of them, or one that would take the place of what is read.
    """
    for kept in (args.scenario, args.model):
        check_writable(args.plot, args.write, args.block, kept=kept)


def read_identified(path: Path | None, scenario: "Scenario") -> "Identified | None":
    """Read a recorded plant into the loop of a scenario, if one is named.

    Raises
    ------
    InputError
        No model file, or a model that tuning cannot take.
    """
    from host_sim.tune.identified import identified
    from host_sim.tune.models_file import read_model

    return identified(scenario, read_model(path)) if path else None


def write_law(args: argparse.Namespace, law: "LawSettings") -> None:
    """Write the scenario with a law's controller, and its block, if asked for."""
    from host_sim.tune.rewrite import block_as_dict, retuned_text

    texts = {}
    if args.write:
        texts[args.write] = retuned_text(args.scenario, law, args.write)
    if args.block:
        texts[args.block] = json.dumps(block_as_dict(law), indent=2) + "\n"
    for path, text in texts.items():
        write_whole(path, partial(Path.write_text, data=text, encoding="utf-8"))
