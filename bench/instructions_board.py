"""Instructions of the law in MicroPython bytecode a tick, on the emulated board.

SysTick, read by the board's own program, counts as in `instructions.c`, in the
same emulated machine and with the calibration found there; reading the timer
costs bytecode, too, so a tick of no stages is subtracted. Interrupts of the
firmware's own clock and display are included.
"""

import struct
from textwrap import indent

from bench.instructions_count import COUNTING, Count
from host_sim.prove.board_engine import (
    PARAMETERS,
    STATE,
    fill,
    load_law,
    load_replay,
    started_board,
)
from host_sim.prove.engine import EngineError
from host_sim.prove.episodes import INPUTS, Episode

_TIMER = """\
from machine import mem32
timer = 0xE000E018
mem32[0xE000E014] = 0xFFFFFF
mem32[timer] = 0
mem32[0xE000E010] = 5
"""
_TIMED = """\
for _ in range({ticks}):
 for k, word in enumerate(unpack('<5h', take(10))):
  a[k] = word
 r = mem32[timer]
 s = mem32[timer]
 for stage in stages:
  stage(a, b)
{rest}
 t = mem32[timer]
 uart.write(b'=')
 uart.write(array('i', (r - s, s - t)))
 uart.write(a)
gc.collect()
"""
_MASK = 0xFFFFFF


def count_bytecode(
    case: str, episode: Episode, last: list[int], instructions: float
) -> Count:
    """Count an episode's ticks on the board; check the last state.

    Parameters
    ----------
    case : str
    episode : Episode
    last : list of int
        The state after its last tick, by another engine.
    instructions : float
        Instructions for each count of the timer.

    Raises
    ------
    EngineError
        A wrong answer, or a board that fails.
    """
    inputs = episode.inputs
    pieces = (
        struct.pack("<5h", *inputs[k : k + INPUTS])
        for k in range(0, len(inputs), INPUTS)
    )
    with started_board(*COUNTING) as line:
        load_replay(line)
        rest = indent(load_law(line), " ")
        line.drop_loader()
        line.ask(_TIMER)
        fill(line, "b", episode.params)
        fill(line, "a", episode.state)
        run = _TIMED.format(ticks=episode.ticks, rest=rest)
        layout = f"<2i{len(episode.state)}i"
        size = struct.calcsize(layout)
        records = [
            struct.unpack(layout, got) for got in line.exchange(run, pieces, size)
        ]
    if list(records[-1][2:]) != last:
        raise EngineError("the board's counted ticks gave a wrong answer")
    costs = [((took - idle) & _MASK) * instructions for idle, took, *_ in records]
    return Count(
        what="MicroPython 1.9.2 bytecode",
        case=case,
        processor="Cortex-M0",
        mean=sum(costs) / len(costs),
        most=max(costs),
        code_bytes=None,
    )


def measure_heap() -> dict[str, int]:
    """Measure what the law, its arrays and the rest take of the board's heap.

    Returns
    -------
    dict
        Taken by the law, its state and its parameters; left for all else, beside
        the helpers that talk with the host [bytes].
    """
    with started_board() as line:
        ready = line.free_bytes()
        line.load(STATE)
        with_state = line.free_bytes()
        line.load(PARAMETERS)
        with_arrays = line.free_bytes()
        load_law(line)
        with_law = line.free_bytes()
        line.drop_loader()
        left = line.free_bytes()
    return {
        "law_bytes": with_arrays - with_law,
        "state_bytes": ready - with_state,
        "parameters_bytes": with_state - with_arrays,
        "left_bytes": left,
    }
