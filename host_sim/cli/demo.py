"""`integer-pilot demo`: the whole job on the shipped, invented scenario."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from host_sim.cli.options import add_json, print_json

if TYPE_CHECKING:
    from host_sim.story import Story

FOLDER = Path("pilot-demo")


def add_parser(commands: "argparse._SubParsersAction[Any]") -> None:
    """Add the command."""
    parser = commands.add_parser(
        "demo", help="the whole job on an invented veneer press"
    )
    add_json(parser)
    parser.add_argument(
        "--csv", type=Path, metavar="FILE", help="write every tick to a CSV file"
    )
    parser.add_argument(
        "--plot",
        type=Path,
        metavar="FOLDER",
        default=FOLDER,
        help=f"folder for figures and scenarios (default: {FOLDER})",
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> None:
    """Size, choose, tune, compare, value; draw each figure."""
    from host_sim.measure.comparison import lessons
    from host_sim.show.figures import compare_figure, step_figure
    from host_sim.show.files import check_writable, make_folder, write_whole
    from host_sim.show.progress import sharing
    from host_sim.show.story import show_story, story_figure
    from host_sim.show.style import save
    from host_sim.show.tables import pressure_text, show_comparison, show_study
    from host_sim.story import tell

    check_writable(args.csv)
    make_folder(args.plot)
    with sharing() as progress:
        story = tell(args.plot, progress)
    scenario = story.before.scenario
    figures = {
        "step.png": step_figure(story.before),
        "compare.png": compare_figure(scenario, story.trials),
        "summary.png": story_figure(story),
    }
    for name, figure in figures.items():
        save(figure, args.plot / name)
    if args.csv:
        write_whole(args.csv, story.before.run.write_csv)
    learnt = lessons(story.trials, pressure_text(scenario))
    if args.json:
        print_json(_as_dict(story, learnt))
        return
    show_study(story.before)
    print()
    show_comparison(scenario, story.trials, learnt)
    show_story(story, [args.plot / name for name in figures])


def _as_dict(story: "Story", learnt: list[str]) -> dict[str, Any]:
    from host_sim.measure.comparison import trials_as_dict
    from host_sim.measure.study import study_as_dict
    from host_sim.size.report import sizing_as_dict
    from host_sim.size.savings_words import savings_as_dict
    from host_sim.size.selection import selection_as_dict
    from host_sim.tune.reasons import reasons, row_as_dict

    limits = story.tuned.scenario.limits
    return {
        **study_as_dict(story.before),
        "trials": trials_as_dict(story.trials),
        "lessons": learnt,
        "sizing": sizing_as_dict(story.sizing),
        "selection": selection_as_dict(story.selection),
        "chosen": story.chosen.unit.name,
        "tuned": row_as_dict(story.tuned.best, limits),
        "reasons": reasons(story.tuned),
        "after": study_as_dict(story.after),
        "savings": savings_as_dict(story.savings),
    }
