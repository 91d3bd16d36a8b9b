"""The law as straight code: episodes one by one, or sixteen side by side."""

import binascii
import sys
from collections.abc import Iterator, Sequence
from functools import cache
from itertools import groupby
from pathlib import Path

import numpy as np
import numpy.typing as npt

from firmware_model.law import layout
from firmware_model.law.tick import tick
from host_sim.compiling.native import Native, Number, Table, compile_native
from host_sim.compiling.signature import Signature
from host_sim.law.stages import STAGES
from host_sim.prove.engine import Engine, EngineError
from host_sim.prove.episodes import INPUTS, Episode
from host_sim.prove.replay import read_words

WORDS = len(layout.STATE)
PIECE_TICKS = 1_000
"""Recorded at a time: what bounds the memory."""

IntArray = npt.NDArray[np.int32]


def run_ticks(
    ticks: int, state: IntArray, params: IntArray, inputs: IntArray, record: IntArray
) -> None:
    """Run the law; record all state words after every tick.

    Parameters
    ----------
    ticks : int
    state, params : int arrays
    inputs : int array, shape (ticks, INPUTS)
    record : int array, shape (ticks, WORDS)
        Filled.
    """
    for k in range(ticks):
        for slot in range(INPUTS):
            state[slot] = inputs[k, slot]
        tick(state, params)
        for slot in range(WORDS):
            record[k, slot] = state[slot]


@cache
def compiled_ticks(lanes: int) -> Native:
    """Compile `run_ticks`, and with it the law."""
    signature: Signature = {
        "ticks": Number("int"),
        "state": Table("int", length=WORDS),
        "params": Table("int", length=len(layout.PARAMETERS)),
        "inputs": Table("int", row=INPUTS),
        "record": Table("int", row=WORDS),
    }
    modules = (*STAGES, sys.modules[__name__])
    return compile_native(run_ticks, signature, modules, lanes)


def record_ticks(episodes: Sequence[Episode]) -> Iterator[IntArray]:
    """Run episodes of one length side by side, each in its own lane.

    Yields
    ------
    array, shape (ticks, WORDS, episodes)
        All state words after every tick, piece by piece.
    """
    state, params, inputs = (
        np.array([vars(episode)[name] for episode in episodes], dtype=np.int32).T
        for name in ("state", "params", "inputs")
    )
    given = {"state": state.copy(), "params": params.copy()}
    rows = inputs.reshape(-1, INPUTS, len(episodes))
    for start in range(0, len(rows), PIECE_TICKS):
        piece = rows[start : start + PIECE_TICKS].copy()
        record = np.empty((len(piece), WORDS, len(episodes)), dtype=np.int32)
        compiled_ticks(len(episodes))(
            {**given, "ticks": len(piece), "inputs": piece, "record": record}
        )
        yield record


def _read_episodes(path: Path) -> Iterator[Episode]:
    with path.open("rb") as stream:
        while (head := read_words(stream, 3))[0]:
            counts = head[0], head[1], head[2] * INPUTS
            yield Episode(*(read_words(stream, count) for count in counts))


def _run(path: Path, law: str, lanes: int) -> list[str]:
    if law != "law":
        raise EngineError("compiled code has no heap that could be locked")
    lines: list[str] = []
    for _, same in groupby(_read_episodes(path), lambda episode: episode.ticks):
        episodes = list(same)
        for start in range(0, len(episodes), lanes):
            group = episodes[start : start + lanes]
            # The last episode fills the lanes that are left.
            filled = [*group, *group[-1:] * (lanes - len(group))]
            lines += _lines(filled)[: len(group)]
    return lines


def _lines(episodes: Sequence[Episode]) -> list[str]:
    """Write what `replay` prints for each of some episodes."""
    crcs = [0] * len(episodes)
    last = [list(episode.state) for episode in episodes]
    for record in record_ticks(episodes):
        for lane in range(len(episodes)):
            words = record[:, :, lane]
            crcs[lane] = binascii.crc32(words.tobytes(), crcs[lane])
            last[lane] = words[-1].tolist()
    return [
        f"{crc:08x} {' '.join(map(str, words))}"
        for crc, words in zip(crcs, last, strict=True)
    ]


def _engine(lanes: int, name: str) -> Engine:
    return Engine(name, "", lambda: "", lambda path, law: _run(path, law, lanes))


STRAIGHT_ENGINES = (
    _engine(1, "straight code, 1 lane"),
    _engine(16, "straight code, 16 lanes"),
)
