"""Golden vectors: recorded runs of the law that check a port without Python."""

import struct
import zlib
from array import array
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from random import Random
from typing import Protocol

from firmware_model.law import layout
from firmware_model.law import tick as board_law
from host_sim.errors import InputError
from host_sim.prove.episodes import draw_episode
from host_sim.prove.vector_format import (
    PARAMETERS_FILE,
    REMEDY,
    TICKS_FILE,
    Sealed,
    crc_text,
    parameters_header,
    read_sealed,
    seal,
    ticks_header,
    words_text,
)
from host_sim.prove.vector_layout import layout_fingerprint
from host_sim.prove.vector_scenes import (
    INPUTS,
    Scene,
    edge_scenes,
    extreme_scenes,
    press_scenes,
)

INTERVAL = 16
RANDOM_SCENES, RANDOM_TICKS = 40, 96
_SEED = 20_261_125
_STATE_WORDS = len(layout.STATE)
_PARAMETER_WORDS = len(layout.PARAMETERS)


class Law(Protocol):
    """What runs: the law's own module, or something that claims to equal it."""

    def tick(self, state: "array[int]", params: "array[int]", /) -> object:
        """Run one tick."""

    def reset(self, state: "array[int]", /) -> object:
        """Forget all but inputs and output."""


@dataclass(frozen=True)
class Difference:
    """Where a law first departs from the vectors.

    Attributes
    ----------
    episode : str
    tick : int
        Ticks of the episode that had run when it first departed.
    word : str, optional
        The first word that differs at the next recorded state, if one still does.
    expected, got : int, optional
        Of that word.
    seen_at : int
        Ticks that had run at that recorded state.
    """

    episode: str
    tick: int
    word: str | None
    expected: int | None
    got: int | None
    seen_at: int

    def in_words(self) -> str:
        """Say it in one line."""
        head = f"episode {self.episode}, after tick {self.tick}: the law departs"
        if self.word is None:
            return f"{head}; after tick {self.seen_at} every word is as expected again"
        return (
            f"{head}; after tick {self.seen_at} {self.word} should be {self.expected} "
            f"and is {self.got}"
        )


@dataclass(frozen=True)
class VectorCheck:
    """What a replay of the vectors found.

    Attributes
    ----------
    episodes, ticks : int
        Replayed in all, up to the first difference.
    difference : Difference, optional
    """

    episodes: int
    ticks: int
    difference: Difference | None


def golden_scenes() -> list[Scene]:
    """Collect all runs of the vectors: a press, edges, extremes, random ones."""
    return [*press_scenes(), *edge_scenes(), *extreme_scenes(), *_random_scenes()]


def vector_texts() -> dict[str, str]:
    """Run every scene and write both files of the vectors.

    Returns
    -------
    dict
        File names and their text.
    """
    scenes = golden_scenes()
    blocks = [f"block {k} {words_text(scene.params)}" for k, scene in enumerate(scenes)]
    mark = f"layout {layout_fingerprint()}"
    parameters, total = seal(
        [*parameters_header(), mark, *blocks, f"end {len(scenes)}"]
    )
    lines = [*ticks_header(), mark, f"parameters {total}"]
    for k, scene in enumerate(scenes):
        lines += [f"episode {k} {scene.name}", *_record(scene)]
    lines.append(f"end {len(scenes)} {sum(len(scene.inputs) for scene in scenes)}")
    return {PARAMETERS_FILE: parameters, TICKS_FILE: seal(lines)[0]}


def check_vectors(folder: Path, law: Law = board_law) -> VectorCheck:
    """Replay the vectors of a folder up to the first difference.

    Parameters
    ----------
    folder : Path
    law : Law, optional
        What to check; the board's law unless given.

    Returns
    -------
    VectorCheck

    Raises
    ------
    InputError
        A file is missing, cut short, edited, or of another layout.
    """
    path = folder / TICKS_FILE
    blocks = read_sealed(folder / PARAMETERS_FILE)
    content = read_sealed(path)
    if content.lines[1] != ["parameters", blocks.sum]:
        raise InputError(f"{path}: {PARAMETERS_FILE} was not written with it; {REMEDY}")
    params = [
        _words(line[2:], _PARAMETER_WORDS, path)
        for line in blocks.lines
        if line[0] == "block"
    ]
    episodes = ticks = 0
    for (_, block, name), lines in _episodes(content):
        replay = _Replay(name, params[int(block)], law, path)
        difference = replay.run(lines)
        episodes += 1
        ticks += replay.ticks
        if difference:
            return VectorCheck(episodes, ticks, difference)
    return VectorCheck(episodes, ticks, None)


def _random_scenes() -> Iterator[Scene]:
    random = Random(_SEED)
    for k in range(RANDOM_SCENES):
        episode = draw_episode(random, RANDOM_TICKS)
        inputs = [
            tuple(episode.inputs[first : first + INPUTS])
            for first in range(0, len(episode.inputs), INPUTS)
        ]
        name = f"random-{k:02}"
        yield Scene(name, episode.params, episode.state, inputs, frozenset())


def _record(scene: Scene) -> Iterator[str]:
    state, crc = array("i", scene.start), 0
    yield f"start {words_text(state)}"
    for number, inputs in enumerate(scene.inputs):
        if number in scene.resets:
            board_law.reset(state)
            yield "reset"
            yield f"state {words_text(state)}"
        state[:INPUTS] = array("i", inputs)
        board_law.tick(state, scene.params)
        crc = _running_crc(state, crc)
        yield f"tick {words_text(inputs)} {crc_text(crc)}"
        done = number + 1
        if number in scene.resets or not done % INTERVAL or done == len(scene.inputs):
            yield f"state {words_text(state)}"


def _running_crc(state: "array[int]", crc: int) -> int:
    return zlib.crc32(struct.pack(f"<{_STATE_WORDS}i", *state), crc)


def _episodes(content: Sealed) -> Iterator[tuple[list[str], list[list[str]]]]:
    starts = [k for k, line in enumerate(content.lines) if line[0] == "episode"]
    ends = [*starts[1:], len(content.lines) - 1]
    for start, end in zip(starts, ends, strict=True):
        yield content.lines[start], content.lines[start + 1 : end]


def _words(texts: list[str], count: int, path: Path) -> "array[int]":
    if len(texts) != count:
        raise InputError(f"{path}: {len(texts)} words instead of {count}; {REMEDY}")
    return array("i", map(int, texts))


class _Replay:
    """One episode, obeyed line by line."""

    def __init__(self, name: str, params: "array[int]", law: Law, path: Path) -> None:
        self.name = name
        self.params = params
        self.law = law
        self.path = path
        self.state = array("i")
        self.crc = 0
        self.ticks = 0
        self.departed: int | None = None

    def run(self, lines: Iterable[list[str]]) -> Difference | None:
        for keyword, *rest in lines:
            match keyword:
                case "start":
                    self.state = _words(rest, _STATE_WORDS, self.path)
                case "reset":
                    self.law.reset(self.state)
                case "tick":
                    self._tick(rest)
                case "state":
                    difference = self._compare(_words(rest, _STATE_WORDS, self.path))
                    if difference:
                        return difference
                case _:
                    raise InputError(
                        f"{self.path}: unknown keyword {keyword!r}; {REMEDY}"
                    )
        return None

    def _tick(self, rest: list[str]) -> None:
        self.state[:INPUTS] = _words(rest[:-1], INPUTS, self.path)
        self.law.tick(self.state, self.params)
        self.crc = _running_crc(self.state, self.crc)
        self.ticks += 1
        if crc_text(self.crc) != rest[-1] and self.departed is None:
            self.departed = self.ticks

    def _compare(self, wanted: "array[int]") -> Difference | None:
        first = self.ticks if self.departed is None else self.departed
        pairs = zip(layout.STATE, wanted, self.state, strict=True)
        for (word, _, _), expected, got in pairs:
            if expected != got:
                return Difference(self.name, first, word, expected, got, self.ticks)
        if self.departed is None:
            return None
        return Difference(self.name, first, None, None, None, self.ticks)
