"""The law on the emulated board: the same words, no allocation, nothing left.

Under HYPOTHESIS_PROFILE=ci 100 000 ticks, a fiftieth of that otherwise.
"""

import os
import signal
import subprocess
import sys
import time
from random import Random

import pytest
from children import emulators_of
from required import require

from host_sim.prove import board_engine, board_line
from host_sim.prove.board_engine import BOARD_ENGINES, started_board
from host_sim.prove.emulator import Emulator, run_to_end
from host_sim.prove.engine import EngineError
from host_sim.prove.engines import ENGINES
from host_sim.prove.episodes import draw_episode, write_episodes

TICKS = 500
EPISODES = 200 if os.environ.get("HYPOTHESIS_PROFILE") == "ci" else 4
(BOARD,) = BOARD_ENGINES


@pytest.fixture(autouse=True)
def _leaves_nothing_behind():
    """Every test here needs the board and must end all emulators."""
    require(BOARD.missing(), BOARD.remedy)
    yield
    assert emulators_of() == []


@pytest.fixture
def recording(tmp_path):
    def record(episodes, ticks):
        random = Random(20_261_125)
        path = tmp_path / "episodes"
        write_episodes(path, [draw_episode(random, ticks) for _ in range(episodes)])
        return path

    return record


def test_board_agrees_on_every_word_of_every_tick(recording):
    path = recording(EPISODES, TICKS)
    assert BOARD.run(path, "law") == ENGINES[0].run(path, "law")


def test_board_heap_lock_sees_an_allocation(recording):
    with pytest.raises(EngineError, match="MemoryError"):
        BOARD.run(recording(1, 5), "leaking")


def test_board_says_what_it_raised():
    with started_board() as line, pytest.raises(EngineError, match="ZeroDivision"):
        line.ask("1 // 0")


def test_board_that_does_not_answer_is_one_line_in_time(monkeypatch):
    monkeypatch.setattr(board_line, "ANSWER_S", 0.5)
    began = time.monotonic()
    with started_board() as line, pytest.raises(EngineError) as refusal:
        line.ask("while True: pass")
    assert time.monotonic() - began < 10
    assert "does not answer" in str(refusal.value)
    assert "integer-pilot info" in str(refusal.value)
    assert "\n" not in str(refusal.value)


def test_board_emulator_that_dies_is_one_line():
    with started_board() as line:
        assert emulators_of() != []
        os.kill(emulators_of()[0], signal.SIGKILL)
        with pytest.raises(EngineError, match="emulator died") as refusal:
            line.ask("1")
    assert "\n" not in str(refusal.value)


def test_board_emulator_that_refuses_its_options_says_why():
    with (
        pytest.raises(EngineError, match="no-such-option"),
        started_board("-no-such-option"),
    ):
        pass


def test_board_emulator_missing_is_one_line(monkeypatch):
    monkeypatch.setattr(board_engine, "PROGRAM", "no-such-emulator")
    with pytest.raises(EngineError, match="no-such-emulator"), started_board():
        pass


def test_board_emulator_ends_when_the_test_is_interrupted():
    def interrupted():
        with started_board():
            assert emulators_of() != []
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        interrupted()
    assert emulators_of() == []


def test_board_emulator_dies_with_a_parent_that_was_killed():
    code = (
        "from host_sim.prove.board_engine import started_board\n"
        "with started_board(): print('started', flush=True); input()\n"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as parent:
        assert parent.stdout.readline() == "started\n"
        (emulator,) = emulators_of(parent.pid)
        parent.kill()
    deadline = time.monotonic() + 5
    while time.monotonic() < deadline and is_running(emulator):
        time.sleep(0.05)
    assert not is_running(emulator)


def is_running(process):
    """Tell whether a process lives; one that waits for its parent does not."""
    try:
        with open(f"/proc/{process}/stat") as stat:
            return stat.read().rsplit(")", 1)[1].split()[0] != "Z"
    except OSError:
        return False


def test_emulator_closes_twice_without_harm():
    with Emulator([board_engine.PROGRAM, "-M", "microbit", "-S", "-nographic"]) as one:
        assert emulators_of() != []
        one.end()
        assert emulators_of() == []


def test_emulator_that_never_ends_is_ended(tmp_path):
    command = [board_engine.PROGRAM, "-M", "microbit", "-S", "-display", "none"]
    with pytest.raises(EngineError, match=r"had not ended after 0\.5 s"):
        run_to_end(command, tmp_path, 0.5)
