"""The law as straight code: every state word of every tick is CPython's."""

from random import Random

import numpy as np
import pytest

from firmware_model.law.tick import tick
from host_sim.prove import straight_engine
from host_sim.prove.episodes import INPUTS, draw_episode
from host_sim.prove.straight_engine import record_ticks

TICKS = 60
LANES = 16


@pytest.fixture(scope="module")
def episodes():
    """Draw runs of which each begins and goes on in its own way."""
    random = Random(20_260_119)
    return [draw_episode(random, TICKS) for _ in range(LANES)]


def run_plain(episode):
    """Record all state words after every tick on CPython."""
    state, rows = episode.state[:], []
    for k in range(episode.ticks):
        state[:INPUTS] = episode.inputs[INPUTS * k : INPUTS * (k + 1)]
        tick(state, episode.params)
        rows.append(list(state))
    return rows


def test_straight_law_side_by_side_gives_every_word_of_every_tick(episodes):
    (record,) = record_ticks(episodes)
    for lane, episode in enumerate(episodes):
        assert record[:, :, lane].tolist() == run_plain(episode), lane


def test_straight_law_alone_gives_every_word_of_every_tick(episodes):
    for episode in episodes:
        (record,) = record_ticks([episode])
        assert record[:, :, 0].tolist() == run_plain(episode)


def test_straight_law_in_pieces_is_the_same_run(episodes, monkeypatch):
    (whole,) = record_ticks(episodes)
    monkeypatch.setattr(straight_engine, "PIECE_TICKS", 7)
    pieces = list(record_ticks(episodes))
    assert [len(piece) for piece in pieces] == [7] * 8 + [4]
    assert np.array_equal(np.concatenate(pieces), whole)
