"""The instruction counts in the README are those that the bench wrote."""

import json
from pathlib import Path

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
RESULTS = json.loads((ROOT / "bench" / "results" / "instructions.json").read_text())
FEATURES = ("all on, proportional drive", "three multiplies")


def shown(mean):
    """Write a count as the README does: floor, thousands set apart."""
    whole = int(mean)
    return f"{whole:,}".replace(",", " ") if whole >= 10_000 else str(whole)


def test_readme_instruction_counts_are_the_stored_results():
    counts = [c for c in RESULTS["counts"] if c["features"] in FEATURES]
    assert len(counts) == 5
    table = README[README.index("| | Cortex-M0 |") :].split("\n\n")[0]
    for count in counts:
        assert f" {shown(count['instructions_per_tick_mean'])} |" in table, count
        if count["code_bytes"] is not None:
            assert str(count["code_bytes"]) in table, count
    heap = RESULTS["board_heap"]
    total = sum(heap[f"{part}_bytes"] for part in ("law", "state", "parameters"))
    assert f"heap {total}" in table


def test_readme_speeds_are_the_stored_results():
    host = json.loads((ROOT / "bench" / "results" / "host.json").read_text())
    best = {
        (ratio["race"], ratio["peer"]): ratio["times_as_fast_best"]
        for ratio in host["ratios"]
    }
    table = README[README.index("| measured on one 2-core machine") :].split("\n\n")[0]
    native = "C -O3 -march=native"
    rows = (
        f"of the same loop | {best['single', native]:.2f} |",
        f"against that C | {best['batch', native]:.1f} |",
        f"| {best['single', 'scipy solve_ivp']:.0f}, "
        f"{best['single', 'python-control, its solver']:.0f} |",
        f"by hand | {best['single', 'python-control, plant by hand']:.0f} |",
        f"plain Python | {best['single', 'plain Python']:.0f} |",
    )
    for row in rows:
        assert row in table, row
