"""`integer-pilot tune`: gains that serve a whole family of machines."""

import argparse
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from host_sim.cli.options import add_report, add_scenario, print_json
from host_sim.cli.tuned import add_tuning

if TYPE_CHECKING:
    from host_sim.tune.tune import Tuned
    from host_sim.tune.verify import Verified


def add_parser(commands: "argparse._SubParsersAction[Any]") -> None:
    """Add the command."""
    parser = commands.add_parser("tune", help="find the gains for a family of machines")
    add_scenario(parser)
    add_report(parser)
    add_tuning(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> None:
    """Tune, then print and write what was asked for."""
    from host_sim.cli.tuned import check_files, read_identified, write_law
    from host_sim.scenario.load import load_scenario
    from host_sim.show.progress import sharing
    from host_sim.show.style import check_picture, save
    from host_sim.show.tune import show_tuned, tune_figure
    from host_sim.tune.tune import tune
    from host_sim.tune.verify import verify

    check_files(args)
    check_picture(args.plot)
    scenario = load_scenario(args.scenario)
    model = read_identified(args.model, scenario)
    with sharing() as progress:
        tuned = tune(scenario, args.seed, progress, model)
        progress("looking again", 1.0)
        verified = verify(tuned.best.slowest.scenario, tuned.best.law)
    if args.plot:
        save(tune_figure(tuned), args.plot)
    write_law(args, tuned.best.law)
    if args.json:
        print_json(_as_dict(tuned, verified))
    else:
        show_tuned(tuned, verified)


def _as_dict(tuned: "Tuned", verified: "list[Verified]") -> dict[str, Any]:
    from host_sim.tune.reasons import notes, reasons, row_as_dict
    from host_sim.tune.rewrite import block_as_dict

    limits = tuned.scenario.limits
    return {
        "title": tuned.scenario.title,
        "machines": len(tuned.bench.machines),
        "limits": asdict(limits),
        "rules": [row_as_dict(row, limits) for row in tuned.rule_rows],
        "present": row_as_dict(tuned.present, limits),
        "chosen": row_as_dict(tuned.best, limits),
        "verified_on_slowest": [asdict(each) for each in verified],
        "reasons": reasons(tuned),
        "notes": notes(tuned.bench),
        "block": block_as_dict(tuned.best.law),
    }
