"""Count the law's instructions a tick; write results/instructions.json and .md.

Run as ``python -m bench.instructions``. Each count checks its answer first: the
CRC-32 over all state words of the counted ticks must be CPython's.
"""

import json
import sys
import tempfile
from dataclasses import asdict
from pathlib import Path

from bench.instructions_board import count_bytecode, measure_heap
from bench.instructions_cortex import count_cortex
from bench.instructions_count import Count
from bench.instructions_episode import CASES, TICKS, press_episode
from host_sim.prove.board_cortex import CORTEX_ENGINES, CORTEX_M0, CORTEX_M3
from host_sim.prove.board_engine import BOARD_ENGINES
from host_sim.prove.engines import ENGINES
from host_sim.prove.episodes import write_episodes
from host_sim.show.files import make_folder, write_whole

RESULTS = Path(__file__).with_name("results")
REACH = {
    ("the law, C99 -Os", "Cortex-M0"): 400,
    ("the law, C99 -Os", "Cortex-M3"): 330,
    ("MicroPython 1.9.2 bytecode", "Cortex-M0"): 40_000,
}
REACH_HEAP_BYTES = 4_096


def count_all() -> list[Count]:
    """Count every case on every processor."""
    counts: list[Count] = []
    for case, settings in CASES.items():
        episode = press_episode(settings)
        with tempfile.TemporaryDirectory() as name:
            path = Path(name) / "episodes"
            write_episodes(path, [episode])
            expected = ENGINES[0].run(path, "law")
        for processor in (CORTEX_M0, CORTEX_M3):
            law, pid, instructions = count_cortex(processor, case, episode, expected)
            counts.append(law)
            if processor is CORTEX_M0:
                last = [int(word) for word in expected[0].split()[1:]]
                counts.append(count_bytecode(case, episode, last, instructions))
            if case == list(CASES)[-1]:
                counts.append(pid)
    return counts


def as_markdown(counts: list[Count], heap: dict[str, int]) -> str:
    """Write the table."""
    lines = [
        f"Instructions a tick, over {TICKS} ticks of an invented press; code in bytes.",
        "",
        "| what | features | processor | mean | most | code | reach |",
        "| --- | --- | --- | ---: | ---: | ---: | ---: |",
    ]
    for count in counts:
        code = "" if count.code_bytes is None else f"{count.code_bytes}"
        reach = REACH.get((count.what, count.processor), "")
        lines.append(
            f"| {count.what} | {count.case} | {count.processor} | {count.mean:.0f} "
            f"| {count.most:.0f} | {code} | {reach} |"
        )
    lines += [
        "",
        f"Heap of the 16-KB board: law {heap['law_bytes']} bytes, state "
        f"{heap['state_bytes']}, parameters {heap['parameters_bytes']}; "
        f"{heap['left_bytes']} left. Reach for law and state: {REACH_HEAP_BYTES}.",
    ]
    return "\n".join(lines) + "\n"


def as_json(counts: list[Count], heap: dict[str, int]) -> str:
    """Write the counts with their units in the keys."""
    rows = [
        {
            "what": row["what"],
            "features": row["case"],
            "processor": row["processor"],
            "instructions_per_tick_mean": round(row["mean"], 1),
            "instructions_per_tick_most": round(row["most"], 1),
            "code_bytes": row["code_bytes"],
        }
        for row in map(asdict, counts)
    ]
    return (
        json.dumps({"ticks": TICKS, "counts": rows, "board_heap": heap}, indent=2)
        + "\n"
    )


def main() -> int:
    """Count, print, write; say what is missing."""
    missing = {
        f"{engine.name} needs {engine.missing()}: {engine.remedy}"
        for engine in (*BOARD_ENGINES, *CORTEX_ENGINES)
        if engine.missing()
    }
    if missing:
        print("\n".join(sorted(missing)), file=sys.stderr)
        return 1
    counts, heap = count_all(), measure_heap()
    make_folder(RESULTS)
    table = as_markdown(counts, heap)
    write_whole(RESULTS / "instructions.md", lambda path: path.write_text(table))
    text = as_json(counts, heap)
    write_whole(RESULTS / "instructions.json", lambda path: path.write_text(text))
    print(table, end="")
    return 0


if __name__ == "__main__":
    sys.exit(main())
