"""Random and adversarial runs of the law, legal by the declared ranges."""

from array import array
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from random import Random

from firmware_model.law import layout

INPUTS = 5


@dataclass(frozen=True)
class Episode:
    """One run: a parameter block, a state to start from, inputs each tick.

    ``inputs`` holds five words a tick: counts of current, pressure and supply,
    mode, manual demand.
    """

    params: "array[int]"
    state: "array[int]"
    inputs: "array[int]"

    @property
    def ticks(self) -> int:
        """Number of ticks."""
        return len(self.inputs) // INPUTS


def draw_word(random: Random, span: tuple[int, int]) -> int:
    """Draw a legal word: an end, a small one, or any."""
    low, high = span
    kind = random.random()
    if kind < 0.2:
        return random.choice(span)
    if kind < 0.4:
        return max(low, min(high, random.randint(-3, 3)))
    return random.randint(low, high)


def draw_params(random: Random, share: float) -> "array[int]":
    """Draw a block: each word of the fresh block is replaced with ``share``."""
    return array(
        "i",
        [
            draw_word(random, span) if random.random() < share else fresh
            for _, span, fresh, _ in layout.PARAMETERS
        ],
    )


def draw_episode(random: Random, ticks: int) -> Episode:
    """Draw a run: wild or nearly fresh parameters, jumping or drifting inputs."""
    params = draw_params(random, random.choice((0.1, 0.4, 1.0)))
    state = array("i", [draw_word(random, span) for _, span, _ in layout.STATE])
    inputs = array("i")
    spans = [layout.STATE[slot][1] for slot in range(INPUTS)]
    step = random.choice((1, 30, 1_000, 40_000))
    now = list(state[:INPUTS])
    for _ in range(ticks):
        for slot, (low, high) in enumerate(spans[:3]):
            now[slot] = max(low, min(high, now[slot] + random.randint(-step, step)))
        if random.random() < 0.03:
            now[3] = random.randint(*spans[3])
        now[4] = draw_word(random, spans[4])
        inputs.extend(now)
    return Episode(params, state, inputs)


def write_episodes(path: Path, episodes: Iterable[Episode]) -> None:
    """Write episodes in the form that `replay` reads."""
    with path.open("wb") as stream:
        for episode in episodes:
            lengths = [len(episode.params), len(episode.state), episode.ticks]
            array("i", lengths).tofile(stream)
            for words in (episode.params, episode.state, episode.inputs):
                words.tofile(stream)
        array("i", [0, 0, 0]).tofile(stream)
