"""The exported C law on emulated Cortex-M0 and M3: the same words every tick."""

from random import Random

import pytest
from children import emulators_of
from required import require

from host_sim.prove.board_cortex import CORTEX_ENGINES
from host_sim.prove.engine import EngineError
from host_sim.prove.engines import ENGINES
from host_sim.prove.episodes import draw_episode, write_episodes

NAMES = [engine.name for engine in CORTEX_ENGINES]
EPISODES, TICKS = 200, 500


@pytest.fixture(scope="module")
def recording(tmp_path_factory):
    """100 000 ticks, and what CPython makes of them."""
    random = Random(20_261_126)
    path = tmp_path_factory.mktemp("cortex") / "episodes"
    write_episodes(path, [draw_episode(random, TICKS) for _ in range(EPISODES)])
    return path, ENGINES[0].run(path, "law")


@pytest.mark.parametrize("engine", CORTEX_ENGINES, ids=NAMES)
def test_cortex_agrees_on_every_word_of_every_tick(engine, recording):
    require(engine.missing(), engine.remedy)
    path, expected = recording
    assert engine.run(path, "law") == expected
    assert emulators_of() == []


@pytest.mark.parametrize("engine", CORTEX_ENGINES, ids=NAMES)
def test_cortex_file_cut_short_is_one_line(engine, recording, tmp_path):
    require(engine.missing(), engine.remedy)
    short = tmp_path / "short"
    short.write_bytes(recording[0].read_bytes()[:1_000])
    with pytest.raises(EngineError, match="ends too early") as refusal:
        engine.run(short, "law")
    assert "\n" not in str(refusal.value)
