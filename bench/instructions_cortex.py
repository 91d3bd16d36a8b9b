"""Instructions of the exported C law a tick, on emulated Cortex processors.

The emulator runs with ``-icount shift=0``: each instruction takes one nanosecond
of its virtual time. SysTick, which runs on that time, is read before and after
each call; a loop of exactly 1 000 000 more instructions calibrates it, and a
function that does nothing, called the same way, is subtracted.
"""

import tempfile
from pathlib import Path

from bench.instructions_count import COUNTING, LOOP_INSTRUCTIONS, Count
from host_sim.prove.board_cortex import (
    Processor,
    build_program,
    code_bytes,
    run_program,
)
from host_sim.prove.c_engines import REPLAY, write_c99
from host_sim.prove.engine import EngineError
from host_sim.prove.episodes import INPUTS, Episode, write_episodes

REPEATS = 64
HERE = Path(__file__).parent
PID = HERE / "pid_q31.c"
WHAT = {"law": "the law, C99 -Os", "pid": "bare q31 PID, C99 -Os"}
PID_GAINS = (400_000_000, -500_000_000, 120_000_000)


def count_cortex(
    processor: Processor, case: str, episode: Episode, expected: list[str]
) -> tuple[Count, Count, float]:
    """Count the law and the bare PID on a processor; check both answers.

    Parameters
    ----------
    processor : Processor
    case : str
    episode : Episode
    expected : list of str
        What another engine makes of it.

    Returns
    -------
    Count
        The law.
    Count
        The bare PID.
    float
        Instructions for each count of the timer.

    Raises
    ------
    EngineError
        A wrong answer, or a tool that fails.
    """
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        law, program = write_c99(folder), folder / "count.elf"
        include = [f"-I{place}" for place in (folder, HERE, REPLAY.parent)]
        sources = [law, HERE / "instructions.c", PID]
        options = (*include, "-masm-syntax-unified")
        build_program(processor, sources, program, *options)
        write_episodes(folder / "episodes", [episode])
        lines = run_program(processor, program, folder / "episodes", *COUNTING)
        sizes = {
            "law": code_bytes(processor, law, *include),
            "pid": code_bytes(processor, PID, *include),
        }
    if lines[: len(expected)] != expected:
        raise EngineError(f"{processor.name}: the counted ticks gave a wrong answer")
    report = {
        key: [int(number) for number in numbers]
        for key, *numbers in map(str.split, lines[len(expected) :])
    }
    if report["pid_check"] != [pid_check(episode)]:
        raise EngineError(f"{processor.name}: the bare PID gave a wrong answer")
    instructions = LOOP_INSTRUCTIONS / report["loop"][0]
    law_count, pid_count = (
        _count(key, features, processor.name, report, instructions, sizes[key])
        for key, features in (("law", case), ("pid", "three multiplies"))
    )
    return law_count, pid_count, instructions


def _count(
    key: str,
    case: str,
    processor: str,
    report: dict[str, list[int]],
    instructions: float,
    size: int,
) -> Count:
    (ticks,), (nothing, idle), (total, most) = (
        report[name] for name in ("ticks", "nothing", key)
    )
    return Count(
        what=WHAT[key],
        case=case,
        processor=processor,
        mean=(total - nothing) * instructions / (ticks * REPEATS),
        most=(most - idle) * instructions / REPEATS,
        code_bytes=size,
    )


def pid_check(episode: Episode) -> int:
    """Do in Python what `pid_q31.c` does over the episode's ticks."""
    before, earlier, output, check = 0, 0, 0, 0
    for k in range(0, len(episode.inputs), INPUTS):
        error = (episode.inputs[k] - episode.inputs[k + 1]) << 16
        errors = (error, before, earlier)
        products = (gain * e for gain, e in zip(PID_GAINS, errors, strict=True))
        output = (sum(products) >> 31) + output
        output = min(max(output, -(2**31)), 2**31 - 1)
        before, earlier = error, before
        check = (check * 31 + output) % 2**32
    return check
