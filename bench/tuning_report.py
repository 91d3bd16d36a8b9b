"""The races as tables for people and as JSON for tracking."""

import json
import math
from collections.abc import Sequence
from typing import Any

from bench.tuning_race import (
    FASTER,
    LEAST_OVERSHOOT,
    SEED,
    TERMS,
    WIDEST_MS,
    Check,
    Race,
    Worth,
)
from host_sim.scenario.tuning import Limits
from host_sim.tune.rest import MOST_REVERSALS

NOTES = f"""\
- Figures are those of the worst machine of the family; settling adds up all three
  steps. The machines are invented (`bench/tuning_plants.py`), the spreads of a family
  are the defaults of `[family]`, the search's seed is {SEED}. Strategy and rounds of
  the search were chosen on these same machines and the shipped press.
- A rule races when it settles every step on every machine. Rules are asked about
  both sides of a machine where filling and venting differ; each side counts.
- *won*: settling at least {100 * FASTER:g} % shorter, overshoot no more than the rule's
  (or {100 * LEAST_OVERSHOOT:g} %), all limits held, also when the slowest machine and
  that with most overshoot run again in float64 with gains not rounded and on a plant
  of four times as many substeps.
- *any rule*: the rule may break what it will. Where it breaks `limits.ms` or
  `limits.travel`, the tuning may go as far (Ms {WIDEST_MS:g} at most, the most that a
  scenario takes). The tuning must come to rest, {MOST_REVERSALS} reversals of the
  output at most; of the rules that is not asked.
- *rules within Ms and travel*: rules that hold `limits.ms` and `limits.travel` as the
  tuning must; both are the defaults.
- *floor*: what the valves need at full drive from band to band, without any dead time:
  no law settles sooner. Where it is above {100 * (1 - FASTER):g} % of the rule's
  settling nothing can win."""


def as_markdown(races: Sequence[Race], machine: dict[str, str]) -> str:
    """Write the tables."""
    parts = [
        "Tuning against the published rules, written by `python -m bench.tuning`. On "
        f"{machine['processor']}, {machine['cores']} cores, load average "
        f"{machine['load_average']}.",
        *(_section([r for r in races if r.terms == key], key) for key in TERMS),
        _checks_table(races),
        *_refusals(races),
        NOTES,
    ]
    return "\n\n".join(parts) + "\n"


def summary(races: Sequence[Race]) -> str:
    """Count the races of one kind."""
    counts = {
        verdict: sum(race.verdict == verdict for race in races)
        for verdict in ("won", "lost", "no rule")
    }
    hopeless = sum(race.verdict == "lost" and not race.is_possible for race in races)
    return (
        f"won {counts['won']}, lost {counts['lost']} (of these {hopeless} that the "
        f"valves cannot win), no rule to race {counts['no rule']}"
    )


def _section(races: Sequence[Race], key: str) -> str:
    lines = [
        f"Against {TERMS[key].words}: {summary(races)}.",
        "",
        "| machine | rule | settling s | over % | Ms | travel | tuned: settling s "
        "| over % | Ms | travel | gain % | floor s | | processor s | s |",
        "| --- | --- " + "| ---: " * 10 + "| --- | ---: | ---: |",
    ]
    for race in races:
        gain = "" if race.gain is None else f"{100 * race.gain:.1f}"
        lines.append(
            f"| {race.machine} {race.arrangement.lower()} "
            f"| {'none' if race.rule is None else race.rule.name} "
            f"| {_cells(race.rule)} | {_cells(race.tuned)} | {gain} "
            f"| {race.floor_s:.2f} | {race.verdict} "
            f"| {race.processor_s:.0f} | {race.wall_s:.0f} |"
        )
    return "\n".join(lines)


def _cells(worth: Worth | None) -> str:
    if worth is None:
        return " | ".join([""] * 4)
    ms = "unstable" if math.isinf(worth.ms) else f"{worth.ms:.2f}"
    return (
        f"{worth.settling_s:.2f} | {100 * worth.overshoot:.1f} | {ms} "
        f"| {worth.travel_strokes:.2f}"
    )


def _checks_table(races: Sequence[Race]) -> str:
    lines = [
        "The tunings again, the worst of two machines: settling s and overshoot %.",
        "",
        "| machine | race | limit % | board | | float64 | | finer plant | | |",
        "| --- | --- " + "| ---: " * 7 + "| --- |",
    ]
    for race in races:
        if race.checks:
            cells = " | ".join(_worst_check(race.checks, k) for k in range(3))
            lines.append(
                f"| {race.machine} | {TERMS[race.terms].words} "
                f"| {100 * race.limits.overshoot:.2f} | {cells} "
                f"| {'held' if race.holds else 'broken'} |"
            )
    return "\n".join(lines)


def _worst_check(checks: Sequence[Check], kind: int) -> str:
    names = list(dict.fromkeys(check.run for check in checks))
    chosen = [check for check in checks if check.run == names[kind]]
    times_s = [check.settling_s for check in chosen]
    settled_s = [time_s for time_s in times_s if time_s is not None]
    longest = f"{max(settled_s):.3f}" if len(settled_s) == len(times_s) else "never"
    return f"{longest} | {100 * max(check.overshoot for check in chosen):.2f}"


def _refusals(races: Sequence[Race]) -> list[str]:
    return [
        f"Machine {race.machine}, {TERMS[race.terms].words}: {race.refusal}."
        for race in races
        if race.refusal
    ]


def as_json(races: Sequence[Race], machine: dict[str, str]) -> str:
    """Write all that was found, with units in the keys."""
    return json.dumps(
        {
            "machine": machine,
            "seed": SEED,
            "races": [_race_as_dict(race) for race in races],
        },
        indent=1,
    )


def _race_as_dict(race: Race) -> dict[str, Any]:
    return {
        "machine": race.machine,
        "arrangement": race.arrangement,
        "terms": race.terms,
        "verdict": race.verdict,
        "gain_percent": None if race.gain is None else 100.0 * race.gain,
        "floor_s": race.floor_s,
        "rule": _worth_as_dict(race.rule),
        "limits": _limits_as_dict(race.limits),
        "tuned": _worth_as_dict(race.tuned),
        "refusal": race.refusal,
        "checks": [
            {
                "machine": check.machine,
                "run": check.run,
                "settling_s": check.settling_s,
                "overshoot_percent": 100.0 * check.overshoot,
            }
            for check in race.checks
        ],
        "processor_s": race.processor_s,
        "wall_s": race.wall_s,
    }


def _limits_as_dict(limits: Limits) -> dict[str, float]:
    return {
        "overshoot_percent": 100.0 * limits.overshoot,
        "ms": limits.ms,
        "travel_strokes": limits.travel,
    }


def _worth_as_dict(worth: Worth | None) -> dict[str, Any] | None:
    if worth is None:
        return None
    return {
        "name": worth.name,
        "settling_s": worth.settling_s,
        "overshoot_percent": 100.0 * worth.overshoot,
        # JSON knows no infinity.
        "ms": None if math.isinf(worth.ms) else worth.ms,
        "travel_strokes": worth.travel_strokes,
        "reversals": worth.reversals,
        "unsettled": worth.unsettled,
    }
