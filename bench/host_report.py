"""The results as a table for people and as JSON for tracking."""

import json
from dataclasses import asdict

from bench import host_races as races
from bench.host_c import OPTIONS
from bench.host_results import (
    REACH_CACHED_S,
    REACH_COMPILING_S,
    Ratio,
    Results,
)
from bench.host_solvers import BOUND, RELATIVE_TOLERANCE

RACES = {
    "single": "one loop of the case",
    "batch": "drawn loops of the case, one core",
    "cores": "drawn loops of the case, by the clock",
    "chain": "the shipped press (supply line, pilot, booster, tube, noise)",
}
NOTES = f"""\
- The case is `bench/host_case.toml`: arrangement A, isothermal, lags of valve and
  pressure sensor, four substeps a tick. Speeds are of one pinned core and count
  processor time, but for *all cores*. All take turns; a figure is an entrant's
  best go, *median* the ratio of the median rounds.
- *compiled* is the machine code with every column recorded; *whole call* is
  `run_compiled` from the scenario to the columns. *lanes* is `run_batch` on loops
  that are ready, arranging them in lanes included.
- *C* is `bench/host_loop.c`, plain scalar code by hand around the project's own C99
  export of the law, which is the readable generated C and not tuned; all of it is
  inlined, with `{" ".join(OPTIONS[1:])}`. Same coefficients, same substeps; it
  records pressure and drive. All state words, and pressure and drive at every
  tick, are equal bit for bit. Lanes are compared with records by sums that depend
  on every tick, bit for bit.
- Lanes and C run {races.LOOPS} drawn loops, *numpy batch* {races.NUMPY_LOOPS} as
  arrays, equal bit for bit.
- *scipy solve_ivp* is RK45 at a relative tolerance of {RELATIVE_TOLERANCE:g},
  restarted at each tick around the board's own tick. *python-control, its solver*
  is `input_output_response` on a continuous plant, restarted likewise; *plant by
  hand* is one discrete-time system whose update holds law and plant, so that the
  library only keeps the time. All three: pressure within {BOUND:g} of span at every
  tick."""


def as_markdown(results: Results) -> str:
    """Write the tables."""
    machine = ", ".join(
        part if name in {"processor", "c_compiler", "system"} else f"{name} {part}"
        for name, part in results.machine.items()
    )
    parts = [
        f"Host benchmarks, written by `python -m bench.host`. On {machine}.",
        _ratio_table(results.ratios()),
        _speed_table(results),
        _wait_table(results),
        _code_table(results),
        NOTES,
    ]
    return "\n\n".join(parts) + "\n"


def _ratio_table(ratios: list[Ratio]) -> str:
    lines = [
        "| loops | ours | against | times as fast | median | reach | |",
        "| --- | --- | --- | ---: | ---: | ---: | --- |",
    ]
    for ratio in ratios:
        pair = ratio.pair
        reach = "" if pair.reach is None else f"{pair.reach:g}"
        met = {None: "", True: "met", False: "missed"}[ratio.met]
        lines.append(
            f"| {pair.race} | {pair.ours} | {pair.peer} | {ratio.best:.3g} "
            f"| {ratio.median:.3g} | {reach} | {met} |"
        )
    return "\n".join(lines)


def _speed_table(results: Results) -> str:
    lines = ["| loops | what | ticks/s | median |", "| --- | --- | ---: | ---: |"]
    for race, speeds in results.speeds.items():
        lines += [
            f"| {RACES[race]} | {speed.name} | {_rate(speed.best_ticks_per_s)} "
            f"| {_rate(speed.median_ticks_per_s)} |"
            for speed in speeds.values()
        ]
    return "\n".join(lines)


def _rate(ticks_per_s: float) -> str:
    return f"{ticks_per_s:,.0f}".replace(",", " ")


def _wait_table(results: Results) -> str:
    lines = [
        f"First runs in a fresh process, seconds; reach {REACH_COMPILING_S:g} "
        f"compiling, {REACH_CACHED_S:g} from the cache, imports apart.",
        "",
        "| scenario | code | imports | single run | batch |",
        "| --- | --- | ---: | ---: | ---: |",
    ]
    for scenario, runs in results.first_runs.items():
        lines += [
            f"| {scenario} | {how} | {run.import_s:.2f} | {run.single_s:.2f} "
            f"| {run.lanes_s:.2f} |"
            for how, run in runs.items()
        ]
    return "\n".join(lines)


def _code_table(results: Results) -> str:
    lines = [
        "Instructions of the machine code, counted where they stand.",
        "",
        "| scenario | code | packed double | scalar double | packed integer "
        "| vector moves | other | calls |",
        "| --- | --- | ---: | ---: | ---: | ---: | ---: | --- |",
    ]
    for scenario, codes in results.codes.items():
        for name, code in codes.items():
            calls = ", ".join(f"{n} {called}" for called, n in code.calls.items())
            lines.append(
                f"| {scenario} | {name} | {code.packed_double} | {code.scalar_double} "
                f"| {code.packed_integer} | {code.moves} | {code.other} | {calls} |"
            )
    return "\n".join(lines)


def as_json(results: Results) -> str:
    """Write all that was measured, with units in the keys."""
    ratios = [
        {
            **asdict(ratio.pair),
            "times_as_fast_best": round(ratio.best, 4),
            "times_as_fast_median": round(ratio.median, 4),
        }
        for ratio in results.ratios()
    ]
    tracked = {"machine": results.machine, "ratios": ratios, **asdict(results)}
    return json.dumps(tracked, indent=2) + "\n"
