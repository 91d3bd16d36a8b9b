"""Very many loops leave counts alone, whatever the chunks."""

import pytest

from bench import million
from bench.host_answer import WrongAnswerError
from bench.million import NOTHING, run_chunk, run_loops


def test_chunk_counts_every_loop_and_is_the_same_again():
    first, again = run_chunk(3, 40).tally, run_chunk(3, 40).tally
    assert first.loops == 40
    assert first.failed == 0
    assert first.overshoot.sum() == 40
    assert first.t50.sum() > 30
    assert first.t50.tolist() == again.t50.tolist()
    assert first.overshoot.tolist() == again.overshoot.tolist()


def test_chunks_have_other_loops():
    one, other = (next(million._loops(number, 1)) for number in (0, 1))
    assert one.rig.block.tolist() != other.rig.block.tolist()


def test_chunk_is_refused_when_its_first_loop_alone_differs(monkeypatch):
    marks_of = million.marks_of
    monkeypatch.setattr(million, "marks_of", lambda *given: marks_of(*given) + 1.0)
    with pytest.raises(WrongAnswerError, match="loop 0"):
        run_chunk(0, 2)


def test_loops_on_all_processors_are_the_chunks_added_up(monkeypatch):
    monkeypatch.setattr(million, "CHUNK", 16)
    told = []
    total, peak = run_loops(40, lambda *numbers: told.append(numbers))
    alone = NOTHING
    for number, count in enumerate((16, 16, 8)):
        alone += run_chunk(number, count).tally
    assert total.loops == 40
    assert total.overshoot.tolist() == alone.overshoot.tolist()
    assert total.t50.tolist() == alone.t50.tolist()
    assert peak > 1e7
    assert [done for done, *_ in told] == [16, 32, 40]


def test_command_writes_only_a_whole_million(tmp_path, monkeypatch, capsys):
    tally = run_chunk(0, 4).tally
    monkeypatch.setattr(million, "run_loops", lambda *_: (tally, 10**9))
    monkeypatch.setattr(million, "RESULTS", tmp_path)
    monkeypatch.setattr("sys.argv", ["million"])
    assert million.main() == 0
    assert "4 loops of 500 ticks" in capsys.readouterr().out
    assert list(tmp_path.iterdir()) == []
    monkeypatch.setattr("sys.argv", ["million", "--loops", "1000000"])
    assert million.main() == 0
    assert "1000 MB" in (tmp_path / "million.md").read_text()


def test_command_says_which_loop_was_wrong(monkeypatch, capsys):
    def wrong(*_):
        raise WrongAnswerError("lanes: marks of loop 0 differ")

    monkeypatch.setattr(million, "run_loops", wrong)
    monkeypatch.setattr("sys.argv", ["million"])
    assert million.main() == 1
    assert "marks of loop 0" in capsys.readouterr().err


@pytest.mark.parametrize("loops", ["0", "-1", "many"])
def test_command_refuses_no_loops(monkeypatch, capsys, loops):
    monkeypatch.setattr("sys.argv", ["million", "--loops", loops])
    with pytest.raises(SystemExit) as ended:
        million.main()
    assert ended.value.code == 2
    assert "--loops" in capsys.readouterr().err
