"""Options that several commands share, and what they do."""

import argparse
import json
import math
from pathlib import Path
from typing import Any


def add_scenario(parser: argparse.ArgumentParser) -> None:
    """Add the scenario file."""
    parser.add_argument(
        "scenario", type=Path, metavar="SCENARIO", help="scenario file (TOML)"
    )


def add_engine(parser: argparse.ArgumentParser) -> None:
    """Add --engine; both engines give the same run, bit for bit."""
    parser.add_argument(
        "--engine",
        choices=["auto", "plain", "compiled"],
        default="auto",
        help="what runs the loop: plain Python, or compiled; same result "
        "(default: compiled where it is quicker)",
    )


def add_json(parser: argparse.ArgumentParser) -> None:
    """Add --json."""
    parser.add_argument("--json", action="store_true", help="print JSON instead")


def add_report(parser: argparse.ArgumentParser) -> None:
    """Add --json and --plot."""
    add_json(parser)
    parser.add_argument(
        "--plot", type=Path, metavar="FILE", help="draw to a .png, .svg or .pdf file"
    )


def add_outputs(parser: argparse.ArgumentParser) -> None:
    """Add --json, --plot and --csv."""
    add_report(parser)
    parser.add_argument(
        "--csv", type=Path, metavar="FILE", help="write every tick to a CSV file"
    )


def print_json(report: Any) -> None:  # noqa: ANN401
    """Print a report as JSON; an infinite number becomes null."""
    print(json_text(report), end="")


def json_text(report: Any) -> str:  # noqa: ANN401
    """Write a report as JSON; an infinite number becomes null."""
    return json.dumps(_finite(report), indent=2, allow_nan=False) + "\n"


def _finite(part: Any) -> Any:  # noqa: ANN401
    if isinstance(part, dict):
        return {key: _finite(inner) for key, inner in part.items()}
    if isinstance(part, list | tuple):
        return [_finite(inner) for inner in part]
    if isinstance(part, float) and not math.isfinite(part):
        return None
    return part
