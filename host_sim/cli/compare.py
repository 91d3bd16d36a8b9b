"""`integer-pilot compare`: the same step under several gain sets."""

import argparse
import csv
from pathlib import Path
from typing import TYPE_CHECKING, Any

from host_sim.cli.options import add_engine, add_outputs, add_scenario, print_json

if TYPE_CHECKING:
    from host_sim.measure.comparison import Trial


def add_parser(commands: "argparse._SubParsersAction[Any]") -> None:
    """Add the command."""
    parser = commands.add_parser("compare", help="the same step under several gains")
    add_scenario(parser)
    add_engine(parser)
    add_outputs(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> None:
    """Run every gain set, then print and write what was asked for."""
    from host_sim.measure.comparison import compare_gains, lessons, trials_as_dict
    from host_sim.scenario.load import load_scenario
    from host_sim.show.figures import compare_figure
    from host_sim.show.files import check_writable, write_whole
    from host_sim.show.progress import naming
    from host_sim.show.style import check_picture, save
    from host_sim.show.tables import pressure_text, show_comparison

    check_writable(args.csv, args.plot, kept=args.scenario)
    check_picture(args.plot)
    scenario = load_scenario(args.scenario)
    with naming("comparing") as each_trial:
        trials = compare_gains(scenario, each_trial, args.engine)
    learnt = lessons(trials, pressure_text(scenario))
    if args.csv:
        write_whole(args.csv, lambda path: _write_csv(path, trials))
    if args.plot:
        save(compare_figure(scenario, trials), args.plot)
    if args.json:
        print_json(
            {
                "title": scenario.title,
                "trials": trials_as_dict(trials),
                "lessons": learnt,
            }
        )
    else:
        show_comparison(scenario, trials, learnt)


def _write_csv(path: Path, trials: "list[Trial]") -> None:
    with path.open("w", newline="") as stream:
        writer = csv.writer(stream)
        names = [trial.name.replace(" ", "_") for trial in trials]
        writer.writerow(
            ["time_s"]
            + [f"{name}_load_pa" for name in names]
            + [f"{name}_output_percent" for name in names]
        )
        columns = [trial.run.columns["load_pa"] for trial in trials]
        columns += [trial.run.columns["output_percent"] for trial in trials]
        for row in zip(trials[0].run.time_s, *columns, strict=True):
            writer.writerow([f"{number:.10g}" for number in row])
