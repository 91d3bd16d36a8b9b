"""`integer-pilot tradeoff`: what more speed costs in overshoot and valve travel."""

import argparse
from typing import TYPE_CHECKING, Any

from host_sim.cli.options import add_report, add_scenario, print_json
from host_sim.cli.tuned import add_tuning
from host_sim.errors import InputError

if TYPE_CHECKING:
    from host_sim.tune.bench import Row
    from host_sim.tune.front import TradeOff


def add_parser(commands: "argparse._SubParsersAction[Any]") -> None:
    """Add the command."""
    parser = commands.add_parser("tradeoff", help="see what more speed would cost")
    add_scenario(parser)
    add_report(parser)
    parser.add_argument(
        "--choose", type=int, metavar="NUMBER", help="a point of the front, to write"
    )
    add_tuning(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> None:
    """Follow the front, then print and write what was asked for."""
    from host_sim.cli.tuned import check_files, read_identified, write_law
    from host_sim.scenario.load import load_scenario
    from host_sim.show.progress import sharing
    from host_sim.show.style import check_picture, save
    from host_sim.show.tradeoff import show_trade_off, trade_off_figure
    from host_sim.tune.front import trade_off

    check_files(args)
    check_picture(args.plot)
    if (args.write or args.block) and args.choose is None:
        raise InputError("--choose: missing; name the point to write, such as 3")
    scenario = load_scenario(args.scenario)
    model = read_identified(args.model, scenario)
    with sharing() as progress:
        found = trade_off(scenario, args.seed, progress, model)
    if args.plot:
        save(trade_off_figure(found), args.plot)
    if args.choose is not None:
        write_law(args, _point(found, args.choose).law)
    if args.json:
        print_json(_as_dict(found))
    else:
        show_trade_off(found)


def _point(found: "TradeOff", number: int) -> "Row":
    if not 1 <= number <= len(found.front):
        raise InputError(
            f"--choose: {number}; the front has points 1 ... {len(found.front)}"
        )
    return found.front[number - 1]


def _as_dict(found: "TradeOff") -> dict[str, Any]:
    from host_sim.tune.reasons import notes, row_as_dict

    limits = found.scenario.limits
    recommended = found.recommended
    return {
        "title": found.scenario.title,
        "machines": len(found.bench.machines),
        "front": [row_as_dict(row, limits) for row in found.front],
        "present": row_as_dict(found.present, limits),
        "rules": [row_as_dict(row, limits) for row in found.rule_rows],
        "recommended": recommended and recommended.name,
        "notes": notes(found.bench),
    }
