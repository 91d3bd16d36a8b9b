"""The same tick, bit for bit, on every engine, with the heap locked.

100 000 random and adversarial ticks an engine, 1 000 000 in the slow profiles; a
CRC-32 over all state words of every tick, and the last state of every episode,
must be CPython's.
"""

import os
from random import Random

import pytest
from required import require

from firmware_model.law import layout
from host_sim.prove.engine import EngineError
from host_sim.prove.episodes import draw_episode, write_episodes
from host_sim.prove.python_engines import PYTHON_ENGINES
from host_sim.prove.straight_engine import STRAIGHT_ENGINES

SLOW = os.environ.get("HYPOTHESIS_PROFILE") in ("ci", "deep")
FILES, EPISODES, TICKS = 50 if SLOW else 5, 40, 500
OTHERS = (*PYTHON_ENGINES[1:], *STRAIGHT_ENGINES)
BOARDS = [engine for engine in OTHERS if "MicroPython" in engine.name]


@pytest.fixture(scope="module")
def recordings(tmp_path_factory):
    """Write the episodes and what CPython makes of them."""
    folder = tmp_path_factory.mktemp("episodes")
    random = Random(20_261_124)
    written = []
    for k in range(FILES):
        path = folder / f"{k}.bin"
        write_episodes(path, [draw_episode(random, TICKS) for _ in range(EPISODES)])
        written.append((path, PYTHON_ENGINES[0].run(path, "law")))
    return written


@pytest.mark.parametrize("engine", OTHERS, ids=lambda engine: engine.name)
def test_engines_agree_on_every_word_of_every_tick(engine, recordings):
    require(engine.missing(), engine.remedy)
    for path, expected in recordings:
        assert len(expected) == EPISODES
        assert engine.run(path, "law") == expected


@pytest.mark.parametrize("engine", BOARDS, ids=lambda engine: engine.name)
def test_engines_heap_lock_sees_an_allocation(engine, recordings):
    require(engine.missing(), engine.remedy)
    with pytest.raises(EngineError):
        engine.run(recordings[0][0], "leaking")


def test_engines_episodes_visit_every_mode_and_fault(recordings):
    """An agreement over runs that never leave automatic would prove little."""
    names = [row[0] for row in layout.STATE]
    last = [line.split()[1:] for _, lines in recordings for line in lines]
    for name, least in (("ACTIVE", 4), ("FAULTS", 8), ("INSIDE", 2), ("CUT", 2)):
        assert len({words[names.index(name)] for words in last}) >= least, name
