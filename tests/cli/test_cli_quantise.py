"""The command `quantise`: tables, JSON, figure, refusals."""

import json
import os

import pytest
from lone_bag import lone_bag

from host_sim.cli.main import main
from host_sim.scenario.load import shipped_scenario_path
from host_sim.tune import wordlength_rest

PRESS = str(shipped_scenario_path())


def test_cli_quantise_prints_what_json_says_and_draws(tmp_path, capsys, monkeypatch):
    monkeypatch.setattr(wordlength_rest, "SHARES", (0.3, 0.8))
    path, figure = lone_bag(tmp_path / "bag.toml"), tmp_path / "bits.png"
    assert main(["quantise", str(path), "--json", "--plot", str(figure)]) == 0
    report = json.loads(capsys.readouterr().out)
    assert figure.read_bytes().startswith(b"\x89PNG")
    assert main(["quantise", str(path)]) == 0
    text = capsys.readouterr().out
    for place in report["places"]:
        enough = place["enough_bits"]
        trial = next(t for t in place["trials"] if t["bits"] == enough)
        row = next(
            line
            for line in text.splitlines()
            if f" {enough} " in line and f"{trial['rms_percent']:.4f}" in line
        )
        assert f"{trial['largest_percent']:.3f}" in row
        assert row.rstrip().endswith("enough")
    words = " ".join(text.split())
    for paragraph in report["judgment"]:
        assert " ".join(paragraph.split()) in words
    assert "remainders dropped" in text
    assert "relief valve" in text


REFUSALS = {
    "no such file": (["no-such.toml"], "no-such.toml"),
    "no picture": ([PRESS, "--plot", "bits.bmpx"], "bmpx"),
    "no folder": ([PRESS, "--plot", "nowhere/bits.png"], "nowhere"),
    "picture over the scenario": ([PRESS, "--plot", PRESS], "named twice"),
    "no step": (["steady.toml"], "profile"),
}


@pytest.mark.parametrize("name", REFUSALS)
def test_cli_quantise_refuses_in_one_line(name, tmp_path, capsys):
    arguments, words = REFUSALS[name]
    os.chdir(tmp_path)
    steps = 'steps = [["0 s", "8 mA"], ["0.2 s", "14 mA"], ["5 s", "11 mA"]]'
    lone_bag(tmp_path / "steady.toml", (steps, 'steps = [["0 s", "12 mA"]]'))
    assert main(["quantise", *arguments]) == 2
    captured = capsys.readouterr()
    assert captured.err.count("\n") == 1
    assert words in captured.err
    assert not captured.out
    assert [path.name for path in tmp_path.iterdir()] == ["steady.toml"]
