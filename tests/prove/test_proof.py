"""The law is proved to stay within 31 bits, and the proof is believed for cause.

Besides the verdict: the law on narrow boxes of words must hold what the real law
computes from any words within them; the law on single words must compute what the
real law computes; and no line of such a run exceeds what the proof says of it.
"""

import argparse
import ast
import json
from array import array
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_model.law import layout, tick
from host_sim.cli import prove
from host_sim.errors import InputError
from host_sim.law.block import Block
from host_sim.prove.episodes import INPUTS, draw_episode
from host_sim.prove.interval import Interval
from host_sim.prove.interval_paths import Paths
from host_sim.prove.proof import prove_law
from host_sim.prove.proof_source import Law, law_sources
from host_sim.prove.proof_words import Words, spans_of
from host_sim.show.proof import (
    BEGIN,
    END,
    edge_table,
    proof_as_dict,
    show_proof,
    table_is_current,
    write_table,
)

STATE, PARAMETERS = spans_of(layout.STATE), spans_of(layout.PARAMETERS)
LONGEST_S = 15.0


@pytest.fixture(scope="module")
def proof():
    return prove_law()


class Replica:
    """The law on intervals, with words put in as boxes."""

    def __init__(self):
        self.paths = Paths()
        self.tick = Law(law_sources(), self.paths).module("tick")["tick"]

    def run(self, state, params):
        """Run one tick from (low, high) of every word; return the state's."""
        words, fixed = self.paths.words, []
        state_words = Words(self.paths, STATE, words, writable=True)
        param_words = Words(self.paths, PARAMETERS, fixed, writable=False)
        words[:] = [Interval(self.paths, *span) for span in state]
        fixed[:] = [Interval(self.paths, *span) for span in params]
        self.tick(state_words, param_words)
        return [(word.low, word.high) for word in words]


@pytest.fixture(scope="module")
def replica():
    return Replica()


def test_proof_holds_within_its_time(proof):
    assert proof.failures == []
    assert proof.time_s < LONGEST_S


def test_proof_runs_the_tick_and_every_stage_it_calls(proof):
    tree = ast.parse(law_sources()["tick"])
    body = next(n for n in tree.body if getattr(n, "name", "") == "tick")
    called = [
        node.value.func.id
        for node in body.body
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Call)
    ]
    assert len(called) > 10
    assert proof.roots == ["tick", *called, "reset"]


def test_proof_reaches_every_line_that_computes(proof):
    """A line that no path reached would be proved of nothing."""
    reached = {(line.module, line.line) for line in proof.lines}
    for module, text in law_sources().items():
        if module == "layout":
            continue
        for function in ast.walk(ast.parse(text)):
            if not isinstance(function, ast.FunctionDef):
                continue
            for node in ast.walk(function):
                if isinstance(node, ast.BinOp | ast.AugAssign):
                    assert (module, node.lineno) in reached, (module, node.lineno)


def box_around(random, word, span):
    """Draw bounds around a word, within its declared range."""
    reach = random.choice((0, 0, 1, 40, 5_000, 2**30))
    low = max(span[0], word - random.randint(0, reach))
    return low, min(span[1], word + random.randint(0, reach))


def table_of(spans):
    return [span for _, span in spans]


@given(seed=st.integers(0, 2**32))
def test_proof_box_holds_what_the_real_law_computes(replica, seed):
    random = Random(seed)
    episode = draw_episode(random, 1)
    state = array("i", [*episode.inputs, *episode.state[INPUTS:]])
    boxes = [
        [box_around(random, word, span) for word, span in zip(*pair, strict=True)]
        for pair in (
            (state, table_of(STATE)),
            (episode.params, table_of(PARAMETERS)),
        )
    ]
    held = replica.run(*boxes)
    tick.tick(state, episode.params)
    for (name, _), (low, high), word in zip(STATE, held, state, strict=True):
        assert low <= word <= high, name


def test_proof_replica_computes_what_the_real_law_computes(proof):
    """On single words the replica is the law, and no line exceeds its bound."""
    random, replica = Random(20_261_124), Replica()
    for _ in range(25):
        episode = draw_episode(random, 6)
        state, mirrored = array("i", episode.state), list(episode.state)
        for k in range(episode.ticks):
            inputs = episode.inputs[INPUTS * k : INPUTS * (k + 1)]
            state[:INPUTS], mirrored[:INPUTS] = inputs, inputs
            tick.tick(state, episode.params)
            held = replica.run(
                [(word, word) for word in mirrored],
                [(word, word) for word in episode.params],
            )
            mirrored = [low for low, _ in held]
            assert held == [(word, word) for word in state]
    bounds = {(line.module, line.line): line.worst for line in proof.lines}
    reached = {
        (code.co_filename.rsplit("/", 1)[-1].removesuffix(".py"), line): worst
        for (code, line), worst in replica.paths.worst.items()
    }
    assert len(reached) > 60
    for where, worst in reached.items():
        assert worst <= bounds[where], where


@pytest.mark.parametrize(
    ("name", "span"), PARAMETERS, ids=[name for name, _ in PARAMETERS]
)
def test_validator_refuses_what_the_proof_did_not_cover(name, span):
    block = Block(0.01)
    for word in span:
        block[name] = word
    for word in (span[0] - 1, span[1] + 1):
        with pytest.raises(InputError, match=f"{name}: {word} is outside"):
            block[name] = word
    assert block[name] == span[1]


def test_proof_table_is_written_and_recognised(tmp_path, proof):
    path = tmp_path / "notes.md"
    path.write_text(f"# Notes\n{BEGIN}\nold\n{END}\nafter\n")
    assert not table_is_current(path, proof)
    write_table(path, proof)
    assert table_is_current(path, proof)
    text = path.read_text()
    assert text.startswith(f"# Notes\n{BEGIN}\n")
    assert text.endswith(f"{END}\nafter\n")
    assert "| `carry` | `arith.py:" in text
    path.write_text(text.replace("`carry`", "`carried`"))
    assert not table_is_current(path, proof)


@pytest.mark.parametrize(
    "text", ["no markers", BEGIN, f"{END} {BEGIN}", f"{BEGIN}{END}{BEGIN}{END}"]
)
def test_proof_table_refuses_a_document_without_its_markers(tmp_path, proof, text):
    path = tmp_path / "notes.md"
    path.write_text(text)
    with pytest.raises(InputError, match="edge:begin"):
        write_table(path, proof)
    assert path.read_text() == text


def test_proof_table_refuses_a_missing_document(tmp_path, proof):
    with pytest.raises(InputError, match="cannot read"):
        write_table(tmp_path / "none.md", proof)


def test_proof_table_has_each_function_once_tightest_first(proof):
    rows = [row for row in edge_table(proof).splitlines() if row.startswith("| `")]
    names = [row.split("`")[1] for row in rows]
    assert len(set(names)) == len(names) > 20
    tightest = proof.tightest_of_each_function()
    assert tightest[0] == proof.lines[0]
    assert [line.worst for line in tightest] == sorted(
        (line.worst for line in tightest), reverse=True
    )


def run_command(*arguments):
    parser = argparse.ArgumentParser()
    prove.add_parser(parser.add_subparsers())
    args = parser.parse_args(["prove", *map(str, arguments)])
    args.run(args)


def test_prove_command_prints_and_writes_its_table(capsys, tmp_path, proof):
    path = tmp_path / "notes.md"
    path.write_text(f"{BEGIN}{END}")
    run_command("--table", path)
    assert table_is_current(path, proof)
    assert capsys.readouterr().out.startswith("proved: ")


def test_prove_command_fails_loudly_when_the_proof_does(capsys, monkeypatch):
    failed = broken()
    monkeypatch.setattr("host_sim.prove.proof.prove_law", lambda: failed)
    with pytest.raises(SystemExit) as stop:
        run_command("--json")
    assert stop.value.code == 1
    assert json.loads(capsys.readouterr().out)["holds"] is False


def broken():
    """Prove a law whose filter forgets its limit."""
    sources = law_sources()
    old = "clamp(reading, _SIGNAL_LOW, _SIGNAL_HIGH)"
    assert sources["sense"].count(old) == 1
    return prove_law({**sources, "sense": sources["sense"].replace(old, "reading")})


def test_proof_failure_says_where_and_on_which_path(capsys, tmp_path):
    failed = broken()
    assert [failure.root for failure in failed.failures] == ["read_pressure"]
    failure = failed.failures[0]
    assert "arith.py" in failure.where
    assert "leaves +-(2**30 - 1)" in failure.what
    assert failure.path.startswith("read_pressure(")
    assert "carry" in failure.path
    show_proof(failed, "law")
    assert "NOT proved" in capsys.readouterr().out
    path = tmp_path / "notes.md"
    path.write_text(f"{BEGIN}{END}")
    with pytest.raises(InputError, match="the proof failed"):
        write_table(path, failed)


def test_proof_as_json_holds_every_figure(proof):
    report = json.loads(json.dumps(proof_as_dict(proof)))
    assert report["holds"] is True
    assert report["paths"] == proof.paths > 0
    assert report["operations"] > report["paths"]
    least = min(line["margin_bits"] for line in report["lines"])
    assert least == report["lines"][0]["margin_bits"] > 0.0
