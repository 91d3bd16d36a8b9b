"""Commands as a user runs them: tables, JSON, files, refusals, interrupts."""

import csv
import json
import os
import signal
import subprocess
import sys
import time

import pytest

from host_sim.cli.main import main
from host_sim.scenario.load import shipped_scenario_path

PRESS = shipped_scenario_path()


@pytest.fixture
def short(tmp_path):
    """Write a short copy of the shipped scenario, with replacements."""

    def write(*replacements):
        text = PRESS.read_text()
        for old, new in (
            ('"12 s"', '"2.5 s"'),
            ('  ["4.5 s", "16 mA"],\n  ["8 s", "8 mA"],\n', ""),
            *replacements,
        ):
            assert text.count(old) == 1, old
            text = text.replace(old, new)
        path = tmp_path / "short.toml"
        path.write_text(text)
        return path

    return write


def run_json(capsys, *arguments):
    """Run a command with --json and return what it printed."""
    assert main([*map(str, arguments), "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def test_cli_step_prints_what_json_says(short, capsys):
    path = short()
    report = run_json(capsys, "step", path)
    assert main(["step", str(path)]) == 0
    text = capsys.readouterr().out
    step = report["steps"][0]
    assert f"{step['t50_s']:.3f}" in text
    assert f"{step['settling_2_s']:.3f}" in text
    assert "relief valve" in text
    assert report["integer_against_float"]["largest_pressure_percent"] < 0.1
    assert {gain["name"] for gain in report["gains"]} >= {"kp", "ki", "kd"}
    assert all(abs(gain["relative_error"]) < 1e-4 for gain in report["gains"])


def test_cli_step_writes_every_tick_and_a_figure(short, tmp_path, capsys):
    table, figure = tmp_path / "run.csv", tmp_path / "run.png"
    report = run_json(capsys, "step", short(), "--csv", table, "--plot", figure)
    with table.open() as stream:
        rows = list(csv.DictReader(stream))
    assert len(rows) == report["ticks"] == 250
    assert float(rows[-1]["time_s"]) == pytest.approx(2.49)
    assert float(rows[-1]["load_pa"]) == pytest.approx(401_325, rel=0.02)
    assert figure.read_bytes().startswith(b"\x89PNG")
    assert sorted(p.name for p in tmp_path.iterdir()) == [
        "run.csv",
        "run.png",
        "short.toml",
    ]


def test_cli_compare_says_what_each_term_did(short, tmp_path, capsys):
    figure = tmp_path / "gains.svg"
    longer = short(('"2.5 s"', '"4.5 s"'))
    report = run_json(capsys, "compare", longer, "--plot", figure)
    assert [t["name"] for t in report["trials"]] == ["P", "more P", "PI", "yours"]
    assert [lesson.split(":")[0] for lesson in report["lessons"]] == [
        "Twice the P",
        "With I",
        "With D",
    ]
    offsets = [abs(t["step"]["steady_error_pa"]) for t in report["trials"]]
    assert offsets[0] > offsets[1] > offsets[2]
    assert "<svg" in figure.read_text()


def test_cli_compare_csv_has_two_columns_a_gain_set(short, tmp_path):
    table = tmp_path / "gains.csv"
    assert main(["compare", str(short()), "--csv", str(table)]) == 0
    header = table.read_text().splitlines()[0].split(",")
    assert header[:3] == ["time_s", "P_load_pa", "more_P_load_pa"]
    assert len(header) == 1 + 2 * 4


def test_cli_info_names_engines_and_remedies(capsys):
    report = run_json(capsys, "info")
    assert report["law"]["parameter_words"] > 90
    for engine in report["engines"]:
        assert engine["found"] or engine["remedy"]
    assert main(["info"]) == 0
    assert "CPython: found" in capsys.readouterr().out


def test_cli_slow_tick_is_a_warning_with_its_reason(short, capsys):
    report = run_json(capsys, "step", short(('"10 ms"\ncompute', '"0.25 s"\ncompute')))
    assert any("too slow for this plant" in note for note in report["notes"])


REFUSALS = {
    "missing file": ((), ["step", "no-such.toml"], "no-such.toml"),
    "misspelt key": ((("settle_band", "setle_band"),), None, "settle_band"),
    "gain too large": ((('"1.5 %/%"', '"9000 %/%"'),), None, "0 ... 1000"),
    "folder": ((), ["--csv", "nowhere/run.csv"], "nowhere"),
    "picture": ((), ["--plot", "run.bmpx"], "bmpx"),
}


@pytest.mark.parametrize("name", REFUSALS)
def test_cli_refuses_in_one_line_with_exit_code_2(name, short, capsys, tmp_path):
    replacements, arguments, words = REFUSALS[name]
    path = short(*replacements)
    before = sorted(tmp_path.iterdir())
    if arguments is None or arguments[0] != "step":
        arguments = ["step", str(path), *(arguments or [])]
    os.chdir(tmp_path)
    assert main(arguments) == 2
    captured = capsys.readouterr()
    assert captured.err.count("\n") == 1
    assert words in captured.err
    assert sorted(tmp_path.iterdir()) == before


def test_cli_refuses_to_write_over_its_scenario_or_one_file_twice(short, capsys):
    path = short()
    text = path.read_text()
    assert main(["step", str(path), "--csv", str(path)]) == 2
    twice = str(path.with_name("x.svg"))
    assert main(["step", str(path), "--csv", twice, "--plot", twice]) == 2
    assert capsys.readouterr().err.count("named twice") == 2
    assert path.read_text() == text


def test_cli_step_names_faults_with_their_times(short, capsys):
    broken = ('["0.5 s", "12 mA"],', '["0.5 s", "12 mA"], ["1.5 s", "2 mA"],')
    patient = ("[measurement]", '[command]\npatience = "0.2 s"\n\n[measurement]')
    report = run_json(capsys, "step", short(broken, patient))
    faults = [note for note in report["notes"] if note.startswith("FAULT")]
    assert faults == ["FAULT: current from 1.69 s to 2.5 s"]
    assert len(report["steps"]) == 1


def test_cli_step_says_when_there_is_no_step(short, capsys):
    report = run_json(capsys, "step", short(('"12 mA"', '"4 mA"')))
    assert report["steps"] == []
    assert any("no step" in note for note in report["notes"])


def test_cli_command_without_a_step_cannot_be_compared(short, capsys):
    assert main(["compare", str(short(('"12 mA"', '"4 mA"')))]) == 2
    assert "profile.steps" in capsys.readouterr().err


def test_cli_interrupt_keeps_what_is_done(short, tmp_path):
    path = short(('"2.5 s"', '"2000 s"'))
    table = tmp_path / "part.csv"
    # Compiled, the run would be over before anybody could stop it.
    options = ["--engine", "plain", "--csv", str(table)]
    command = [sys.executable, "-m", "host_sim", "step", str(path), *options]
    process = subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    time.sleep(4.0)
    process.send_signal(signal.SIGINT)
    out, _ = process.communicate(timeout=30)
    assert process.returncode == 0
    assert "stopped at" in out
    assert len(table.read_text().splitlines()) > 100


def test_cli_help_is_quick_because_heavy_imports_wait():
    script = (
        "import sys; from host_sim.cli.main import build_parser; "
        "build_parser().format_help(); "
        "print([m for m in ('numpy', 'matplotlib', 'pint', 'scipy', 'rich') "
        "if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"
