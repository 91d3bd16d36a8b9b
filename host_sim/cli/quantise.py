"""`integer-pilot quantise`: how few bits a scenario would do with."""

import argparse
from typing import Any

from host_sim.cli.options import add_report, add_scenario, print_json


def add_parser(commands: "argparse._SubParsersAction[Any]") -> None:
    """Add the command."""
    parser = commands.add_parser(
        "quantise", help="how few bits would do, and what they do at rest"
    )
    add_scenario(parser)
    add_report(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> None:
    """Study the scenario, then print and draw what was asked for."""
    from host_sim.scenario.load import load_scenario
    from host_sim.show.files import check_writable
    from host_sim.show.progress import sharing
    from host_sim.show.quantise import show_word_lengths, word_length_figure
    from host_sim.show.style import check_picture, save
    from host_sim.show.tables import pressure_text
    from host_sim.tune.wordlength import study_word_lengths
    from host_sim.tune.wordlength_report import study_as_dict

    check_writable(args.plot, kept=args.scenario)
    check_picture(args.plot)
    scenario = load_scenario(args.scenario)
    with sharing() as progress:
        study = study_word_lengths(scenario, progress)
    if args.plot:
        save(word_length_figure(study), args.plot)
    if args.json:
        print_json(study_as_dict(study, pressure_text(scenario)))
    else:
        show_word_lengths(study)
