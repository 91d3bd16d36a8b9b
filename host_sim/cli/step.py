"""`integer-pilot step`: run a scenario and measure every step of it."""

import argparse
from typing import Any

from host_sim.cli.options import add_engine, add_outputs, add_scenario, print_json


def add_parser(commands: "argparse._SubParsersAction[Any]") -> None:
    """Add the command."""
    parser = commands.add_parser("step", help="run a scenario and measure its steps")
    add_scenario(parser)
    add_engine(parser)
    add_outputs(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> None:
    """Run the scenario, then print and write what was asked for."""
    from host_sim.measure.study import study, study_as_dict
    from host_sim.scenario.load import load_scenario
    from host_sim.show.figures import step_figure
    from host_sim.show.files import check_writable, write_whole
    from host_sim.show.progress import ticking
    from host_sim.show.style import check_picture, save
    from host_sim.show.tables import show_study

    check_writable(args.csv, args.plot, kept=args.scenario)
    check_picture(args.plot)
    scenario = load_scenario(args.scenario)
    with ticking("running", 2 * scenario.ticks) as each_tick:
        done = study(scenario, each_tick, args.engine)
    if args.csv:
        write_whole(args.csv, done.run.write_csv)
    if args.plot:
        save(step_figure(done), args.plot)
    if args.json:
        print_json(study_as_dict(done))
    else:
        show_study(done)
