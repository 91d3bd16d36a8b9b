"""`integer-pilot rules`: published tuning rules asked about one plant."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from host_sim.cli.options import add_report, print_json
from host_sim.errors import InputError

if TYPE_CHECKING:
    from host_sim.tune.models import Model
    from host_sim.tune.rules_trial import TrialLoop

OF_A_MODEL = ("gain", "rate", "lag", "second_lag", "delay", "tick")


def add_parser(commands: "argparse._SubParsersAction[Any]") -> None:
    """Add the command."""
    parser = commands.add_parser(
        "rules",
        help="gains by published tuning rules, and the margins they give",
        description="Ask the rules about a scenario's plant, linearised at one "
        "operating point, or about a model given by options: --gain and --lag, or "
        "--rate for an integrator, with --delay and --tick.",
    )
    parser.add_argument(
        "scenario", type=Path, nargs="?", metavar="SCENARIO", help="scenario file"
    )
    for option, metavar, words in (
        ("--at", "SHARE", "operating point of the scenario (else 50 %%)"),
        ("--gain", "G", "share of range over full drive, '1.2 %%/%%'"),
        ("--rate", "R", "of an integrator: range a second at full drive, '30 %%/s'"),
        ("--lag", "TIME", "longer lag, '0.13 s'"),
        ("--second-lag", "TIME", "shorter lag (else none)"),
        ("--delay", "TIME", "dead time, without half a tick (else 0 s)"),
        ("--tick", "TIME", "sampling time, '10 ms'"),
    ):
        parser.add_argument(option, metavar=metavar, help=words)
    add_report(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> None:
    """Ask, then print and draw what was asked for."""
    from host_sim.show.files import check_writable
    from host_sim.show.rules import rules_figure, show_rules
    from host_sim.show.style import check_picture, save
    from host_sim.tune.rules_report import rule_study_as_dict
    from host_sim.tune.rules_trial import step_answers, try_rules

    check_writable(args.plot, kept=args.scenario)
    check_picture(args.plot)
    title, loop, notes = _of_scenario(args) if args.scenario else _of_model(args)
    study = try_rules(loop)
    if args.plot:
        save(rules_figure(study, step_answers(study), title), args.plot)
    if args.json:
        print_json({"title": title, **rule_study_as_dict(study), "notes": notes})
    else:
        show_rules(study, title, notes)


def _of_scenario(args: argparse.Namespace) -> "tuple[str, TrialLoop, list[str]]":
    from host_sim.scenario.load import load_scenario
    from host_sim.scenario.units import parse
    from host_sim.tune.rules_trial import scenario_loop

    given = [name for name in OF_A_MODEL if getattr(args, name) is not None]
    if given:
        raise InputError(
            f"--{given[0].replace('_', '-')}: a scenario has its own plant and tick; "
            "leave one of them out"
        )
    share = parse(args.at or "50 %", "ratio", "--at")
    scenario = load_scenario(args.scenario)
    loop, notes = scenario_loop(scenario, share)
    return f"{scenario.title} at {100 * share:g} %", loop, notes


def _of_model(args: argparse.Namespace) -> "tuple[str, TrialLoop, list[str]]":
    from host_sim.scenario.units import parse
    from host_sim.tune.rules_trial import model_loop

    kinds = {"gain": "ratio", "rate": "rate"}
    numbers = {
        name: parse(text, kinds.get(name, "time"), f"--{name.replace('_', '-')}")
        for name in OF_A_MODEL
        if (text := getattr(args, name)) is not None
    }
    if args.at is not None:
        raise InputError("--at: a model has no operating point; leave it out")
    for name, number in numbers.items():
        if number < 0.0 or (number == 0.0 and name != "delay"):
            least = "0 or more" if name == "delay" else "above 0"
            option = name.replace("_", "-")
            raise InputError(f"--{option}: {number:g} must be {least}")
    model = _model(numbers)
    if "tick" not in numbers:
        raise InputError("--tick: missing; write for example --tick '10 ms'")
    title = f"Model, {model.form}"
    return title, model_loop(model, numbers["tick"]), []


def _model(numbers: dict[str, float]) -> "Model":
    """Build the model that the options describe."""
    from host_sim.tune.models import FIRST, INTEGRATING, Model
    from host_sim.tune.rules_half import second_order

    delay_s = numbers.get("delay", 0.0)
    if "rate" in numbers:
        for name in ("gain", "lag", "second_lag"):
            if name in numbers:
                option = name.replace("_", "-")
                raise InputError(
                    f"--{option}: --rate is an integrator's; leave one out"
                )
        return Model(INTEGRATING, numbers["rate"], delay_s)
    if not {"gain", "lag"} <= numbers.keys():
        raise InputError("give a SCENARIO, or --gain and --lag, or --rate; see --help")
    gain, lag_s = numbers["gain"], numbers["lag"]
    if "second_lag" not in numbers:
        return Model(FIRST, gain, delay_s, lag_s)
    if not 0.0 < numbers["second_lag"] <= lag_s:
        raise InputError(
            f"--second-lag: {numbers['second_lag']:g} s must be above 0 and at most "
            f"--lag, {lag_s:g} s; give the longer one as --lag"
        )
    return second_order(gain, lag_s, numbers["second_lag"], delay_s)
