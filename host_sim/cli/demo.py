"""`integer-pilot demo`: the whole of it on the shipped, invented scenario."""

import argparse
from pathlib import Path
from typing import Any

from host_sim.cli.options import add_engine, print_json

FOLDER = Path("pilot-demo")


def add_parser(commands: "argparse._SubParsersAction[Any]") -> None:
    """Add the command."""
    parser = commands.add_parser(
        "demo", help="the whole of it on an invented veneer press"
    )
    parser.add_argument("--json", action="store_true", help="print JSON instead")
    parser.add_argument(
        "--csv", type=Path, metavar="FILE", help="write every tick to a CSV file"
    )
    parser.add_argument(
        "--plot",
        type=Path,
        metavar="FOLDER",
        default=FOLDER,
        help=f"folder for the figures (default: {FOLDER})",
    )
    add_engine(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> None:
    """Run and compare the shipped scenario; draw both figures."""
    from host_sim.measure.comparison import compare_gains, lessons, trials_as_dict
    from host_sim.measure.study import study, study_as_dict
    from host_sim.scenario.load import load_scenario, shipped_scenario_path
    from host_sim.show.figures import compare_figure, step_figure
    from host_sim.show.files import check_writable, make_folder, write_whole
    from host_sim.show.progress import naming, ticking
    from host_sim.show.style import save
    from host_sim.show.tables import pressure_text, show_comparison, show_study

    scenario = load_scenario(shipped_scenario_path())
    check_writable(args.csv)
    make_folder(args.plot)
    with ticking("running", 2 * scenario.ticks) as each_tick:
        done = study(scenario, each_tick, args.engine)
    with naming("comparing") as each_trial:
        trials = compare_gains(scenario, each_trial, args.engine)
    learnt = lessons(trials, pressure_text(scenario))
    save(step_figure(done), args.plot / "step.png")
    save(compare_figure(scenario, trials), args.plot / "compare.png")
    if args.csv:
        write_whole(args.csv, done.run.write_csv)
    if args.json:
        print_json(
            {
                **study_as_dict(done),
                "trials": trials_as_dict(trials),
                "lessons": learnt,
            }
        )
        return
    show_study(done)
    print()
    show_comparison(scenario, trials, learnt)
    print(f"\nscenario: {shipped_scenario_path()} (copy it and make it yours)")
    print(f"figures: {args.plot / 'step.png'}, {args.plot / 'compare.png'}")
