"""Run all host benchmarks; write results/host.md, host.json and host.png.

Run as ``python -m bench.host`` on a quiet machine; it takes some minutes. Every
go's answer is checked; a wrong one ends the run, and nothing is written.
"""

import sys
from collections.abc import Callable
from pathlib import Path

from bench.host_answer import WrongAnswerError
from bench.host_c import compiler_version
from bench.host_case import CASE
from bench.host_code import count_codes
from bench.host_figure import ratio_figure
from bench.host_first_run import measure_first_runs
from bench.host_machine import describe_machine
from bench.host_races import batch_race, chain_race, cores_race, single_race
from bench.host_report import as_json, as_markdown
from bench.host_results import Results, Speeds
from bench.host_timing import Entrant, one_core, race
from host_sim.loop.rig import make_rig
from host_sim.prove.engine import EngineError, lacking
from host_sim.scenario.load import load_scenario, shipped_scenario_path
from host_sim.show.files import check_writable, make_folder, write_whole
from host_sim.show.progress import naming
from host_sim.show.style import save

RESULTS = Path(__file__).with_name("results")
ROUNDS = 9
PINNED: dict[str, Callable[[], list[Entrant]]] = {
    "single": single_race,
    "batch": batch_race,
    "chain": chain_race,
}
SCENARIOS = {"case": CASE, "shipped press": shipped_scenario_path()}


def measure_all(rounds: int, tell: Callable[[str], None]) -> Results:
    """Run every race and every first run."""
    machine = {**describe_machine(), "c_compiler": compiler_version()}
    speeds: Speeds = {}
    for name, enter in PINNED.items():
        tell(f"preparing {name}")
        entrants = enter()
        with one_core():
            speeds[name] = race(entrants, rounds, tell)
    tell("preparing cores")
    speeds["cores"] = race(cores_race(), rounds, tell)
    first_runs, codes = {}, {}
    for name, path in SCENARIOS.items():
        tell(f"first runs of the {name}")
        first_runs[name] = measure_first_runs(path)
        codes[name] = count_codes(make_rig(load_scenario(path)))
    return Results(speeds, first_runs, codes, machine)


def main() -> int:
    """Measure, print, write; say what is missing or wrong."""
    missing = lacking(("gcc",), ("control", "scipy"))
    if missing:
        print(f"missing: {missing}; pip install -e '.[test]', and gcc", file=sys.stderr)
        return 1
    make_folder(RESULTS)
    table, tracking, figure = (RESULTS / f"host.{e}" for e in ("md", "json", "png"))
    check_writable(table, tracking, figure)
    try:
        with naming("benchmarks") as tell:
            results = measure_all(ROUNDS, tell)
    except (WrongAnswerError, EngineError) as error:
        print(error, file=sys.stderr)
        return 1
    text, numbers = as_markdown(results), as_json(results)
    write_whole(table, lambda path: path.write_text(text, encoding="utf-8"))
    write_whole(tracking, lambda path: path.write_text(numbers, encoding="utf-8"))
    save(ratio_figure(results), figure)
    print(text, end="")
    return 0


if __name__ == "__main__":
    sys.exit(main())
