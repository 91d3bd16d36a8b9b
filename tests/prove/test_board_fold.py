"""Folding changes how the law is written, never what it does."""

from array import array
from random import Random

import pytest

from host_sim.prove.board_fold import fold_in_pieces, fold_law
from host_sim.prove.engines import ENGINES
from host_sim.prove.episodes import draw_episode, write_episodes
from host_sim.prove.replay import replay


def folded_tick():
    names = {}
    for function in fold_law():
        exec(function, names)
    return names["tick"]


def tick_in_pieces():
    """Do what the board does: the stages, then the rest of the tick."""
    names, pieces = {}, fold_in_pieces()
    for source in (pieces.names, *pieces.functions, pieces.stages):
        exec(source, names)
    rest = compile(pieces.rest, "rest", "exec")

    def tick(state, params):
        for stage in names["stages"]:
            stage(state, params)
        exec(rest, {"a": state, "b": params})

    return tick


@pytest.mark.parametrize("make", [folded_tick, tick_in_pieces])
def test_fold_runs_as_the_law_does(tmp_path, make):
    random = Random(31)
    path = tmp_path / "episodes"
    write_episodes(path, [draw_episode(random, 400) for _ in range(25)])
    lines = []
    with path.open("rb") as stream:
        replay(stream, make(), lines.append)
    assert lines == ENGINES[0].run(path, "law")


def test_fold_resets_as_the_law_does():
    from firmware_model.law import layout
    from firmware_model.law.tick import reset

    names = {}
    for function in fold_law():
        exec(function, names)
    ours = array("i", range(100, 100 + len(layout.STATE)))
    laws = array("i", ours)
    names["reset"](ours)
    reset(laws)
    assert ours == laws


def test_fold_keeps_no_long_name_and_no_text():
    """What costs memory on the board and means nothing there is gone."""
    for function in fold_law():
        assert '"' not in function
        assert "int(" not in function
        assert "import" not in function
        assert "_" not in function
