"""`integer-pilot identify`: a recorded step asked what plant it shows."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from host_sim.cli.options import add_report, print_json
from host_sim.errors import InputError

if TYPE_CHECKING:
    from host_sim.scenario.load import Scenario
    from host_sim.tune.identify_report import Lesson

KNOWN = ("volume", "conductance", "consumption")


def add_parser(commands: "argparse._SubParsersAction[Any]") -> None:
    """Add the command."""
    parser = commands.add_parser(
        "identify",
        help="learn the plant from a recorded step",
        description="Fit linear models to a logger's CSV record of input and pressure; "
        "with a scenario of one valve also volume, conductances and valve lag.",
    )
    parser.add_argument("record", type=Path, metavar="RECORD", help="record (CSV)")
    for option, example in (
        ("--time", "time [s]"),
        ("--input", "drive [%%]"),
        ("--pressure", "pressure [bar gauge]"),
    ):
        parser.add_argument(
            option, metavar="NAME", help=f"its column, as 'NAME' or '{example}'"
        )
    parser.add_argument(
        "--dead-time", metavar="TIME", help="known dead time, '0.1 s' (else found)"
    )
    parser.add_argument(
        "--scenario", type=Path, metavar="FILE", help="what is known of the plant"
    )
    parser.add_argument(
        "--known",
        choices=KNOWN,
        help="what of the scenario sets the scale (default: volume)",
    )
    add_report(parser)
    parser.add_argument(
        "--model", type=Path, metavar="FILE", help="keep the linear model (TOML)"
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> None:
    """Read, fit, then print and write what was asked for."""
    from host_sim.show.files import check_writable
    from host_sim.show.identify import lesson_figure, show_lesson
    from host_sim.show.style import check_picture, save
    from host_sim.tune.identify_report import lesson_as_dict

    check_writable(args.plot, args.model, kept=args.record)
    check_writable(args.plot, args.model, kept=args.scenario)
    check_picture(args.plot)
    lesson = _learn(args)
    if args.model:
        _write_model(args.model, lesson)
    if args.plot:
        save(lesson_figure(lesson), args.plot)
    if args.json:
        print_json(lesson_as_dict(lesson))
    else:
        show_lesson(lesson)


def _learn(args: argparse.Namespace) -> "Lesson":
    from host_sim.scenario.units import STANDARD
    from host_sim.show.progress import naming
    from host_sim.tune.identify_report import learn
    from host_sim.tune.record import read_record
    from host_sim.tune.record_columns import Named

    dead_time_s = _dead_time_s(args.dead_time)
    scenario = _scenario(args)
    basis = scenario.basis if scenario else STANDARD
    named = Named(args.time, args.input, args.pressure)
    record = read_record(args.record, named, basis)
    with naming("fitting") as each_run:
        return learn(record, dead_time_s, scenario, args.known or "volume", each_run)


def _dead_time_s(said: str | None) -> float | None:
    from host_sim.scenario.units import parse

    if said is None:
        return None
    dead_time_s = parse(said, "time", "--dead-time")
    if dead_time_s < 0.0:
        raise InputError(
            f"--dead-time: {said!r} is negative; must be 0 s or more: no pressure "
            "moves before its cause"
        )
    return dead_time_s


def _scenario(args: argparse.Namespace) -> "Scenario | None":
    from host_sim.scenario.load import load_scenario

    if args.scenario:
        return load_scenario(args.scenario)
    if args.known:
        raise InputError("--known: needs the scenario it is known from; add --scenario")
    return None


def _write_model(path: Path, lesson: "Lesson") -> None:
    from host_sim.show.files import write_whole
    from host_sim.tune.models_file import model_file, model_text

    if lesson.linear is None:
        raise InputError(f"{path}: not written: {lesson.refused}")
    text = model_text(model_file(lesson.linear))
    write_whole(path, lambda beside: beside.write_text(text, encoding="utf-8"))
