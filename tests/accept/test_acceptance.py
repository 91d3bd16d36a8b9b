"""A full acceptance: resumed, read back, judged, and honest about what is missing."""

import csv
import json
import os
from xml.etree import ElementTree

import pytest
from required import require

from firmware_model.device.faults import FAULTS
from host_sim.accept import acceptance
from host_sim.accept.sequence_static import StaticSequence
from host_sim.accept.sequence_steps import StepSequence
from host_sim.cli.main import main
from host_sim.device import fault_campaign
from host_sim.device.fault_campaign import MOMENTS
from host_sim.device.line import LineLostError
from host_sim.device.line_in_process import InProcessLine
from host_sim.prove.engines import ENGINES
from host_sim.scenario.load import shipped_scenario_path

SLOW = os.environ.get("HYPOTHESIS_PROFILE") in ("ci", "deep")
DEVICES = {"unix": "unix, bytecode", "emulated": "Cortex-M0 board"}
PRESS = shipped_scenario_path()
LIMITS = shipped_scenario_path().with_name("veneer_press_limits.toml")


@pytest.fixture(autouse=True)
def _two_short_sequences(monkeypatch):
    """A static characteristic of few points and the steps, to be quick."""
    short = [StaticSequence(points=3, cycles=2), StepSequence()]
    monkeypatch.setattr(acceptance, "plan", lambda scenario: short)
    monkeypatch.setattr(fault_campaign, "MOMENTS", ())


@pytest.fixture
def accept(tmp_path, capsys):
    """Run the command into a folder; give exit code, report and errors."""

    def run(*options):
        try:
            code = main(["accept", *map(str, options), "--json"])
        except SystemExit as refused:
            code = refused.code
        said = capsys.readouterr()
        return code, json.loads(said.out) if said.out else None, said.err

    return run


def figures(report):
    return {
        name: dict(figure)
        for sequence in report["sequences"].values()
        for name, figure in sequence["figures"].items()
    }


def test_acceptance_gives_the_same_numbers_from_its_raw_data(accept, tmp_path):
    to = tmp_path / "acc"
    code, report, _ = accept(PRESS, "--limits", LIMITS, "--to", to)
    assert code == 0
    assert report["passes"]
    page = (to / "report.html").read_text(encoding="utf-8")
    (to / "report.html").unlink()
    (to / "report.json").unlink()
    code, again, _ = accept("--from", to)
    assert code == 0
    assert again == report
    assert json.loads((to / "report.json").read_text()) == report
    assert (to / "report.html").read_text(encoding="utf-8") == page


def test_acceptance_runs_no_finished_sequence_again(accept, tmp_path, monkeypatch):
    to = tmp_path / "acc"
    runs = []
    run_sequence = acceptance.run_sequence

    def interrupted(sequence, *rest):
        runs.append(sequence.name)
        if len(runs) == 2:
            raise KeyboardInterrupt
        return run_sequence(sequence, *rest)

    monkeypatch.setattr(acceptance, "run_sequence", interrupted)
    code, report, _ = accept(PRESS, "--to", to)
    assert code == 130
    assert report["stopped"] == "interrupted during 'steps'"
    assert report["sequences"]["static"]["finished"]
    assert not report["sequences"]["steps"]["finished"]
    assert "Complete are:\nstatic" in (to / "report.html").read_text()
    code, report, _ = accept(PRESS, "--to", to)
    assert runs == ["static", "steps", "steps"]
    assert report["complete"]
    assert code == 0


def test_acceptance_with_a_device_that_dies_keeps_what_is_complete(
    accept, tmp_path, monkeypatch
):
    send = InProcessLine.send
    to = tmp_path / "acc"

    def dying(self, raw):
        if (to / "static.csv").exists():
            raise LineLostError("model: the cable is out; put it in again")
        send(self, raw)

    monkeypatch.setattr(InProcessLine, "send", dying)
    code, report, error = accept(PRESS, "--to", to)
    assert code == 2
    assert error.count("\n") == 1
    assert "the cable is out" in error
    finished = [n for n, s in report["sequences"].items() if s["finished"]]
    assert finished == ["static"]
    assert not report["passes"]


def test_acceptance_refuses_raw_data_that_was_edited(accept, tmp_path):
    to = tmp_path / "acc"
    accept(PRESS, "--to", to)
    path = to / "static.csv"
    rows = list(csv.reader(path.read_text().splitlines()))
    rows[5][2] = "250000.0"
    path.write_text("\n".join(",".join(row) for row in rows) + "\n")
    code, report, error = accept("--from", to)
    assert (code, report) == (2, None)
    assert "SHA-256" in error
    assert error.count("\n") == 1


def test_acceptance_refuses_a_folder_of_another_device_or_scenario(accept, tmp_path):
    to = tmp_path / "acc"
    accept(PRESS, "--to", to)
    code, _, error = accept(PRESS, "--to", to, "--device", "unix")
    assert code == 2
    assert "another device" in error
    code, _, error = accept("--from", tmp_path)
    assert code == 2
    assert "no folder of an acceptance" in error


def test_acceptance_says_when_the_disk_is_full(accept, tmp_path, monkeypatch):
    def full(self, path):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("host_sim.accept.rows.Rows.write_csv", full)
    to = tmp_path / "acc"
    code, _, error = accept(PRESS, "--to", to)
    assert code == 2
    assert "No space left" in error
    assert error.count("\n") == 1
    assert not [path for path in to.iterdir() if path.suffix == ".csv"]


def test_acceptance_judges_pass_marginal_and_fail(accept, tmp_path):
    to = tmp_path / "acc"
    _, report, _ = accept(PRESS, "--to", to)
    found = figures(report)
    assert {f["verdict"] for f in found.values()} <= {
        "measured, not judged",
        "not measured",
    }
    rise = found["rise_time"]["measured_s"]
    over = found["overshoot"]["measured_percent_of_step"]
    limits = tmp_path / "mine.toml"
    limits.write_text(
        f'[limits]\nrise_time = "{1.05 * rise} s"\novershoot = "{0.5 * over} %"\n'
        'settling_time = "60 s"\n'
    )
    code, report, _ = accept("--from", to, "--limits", limits)
    assert code == 1
    words = {name: f["verdict"] for name, f in figures(report).items()}
    assert words["rise_time"] == "marginal"
    assert words["overshoot"] == "fail"
    assert words["settling_time"] == "pass"
    suites = ElementTree.parse(to / "report.xml").getroot()
    cases = {case.get("name"): case for case in suites.iter("testcase")}
    assert len(cases) == len(words)
    assert cases["overshoot"].find("failure") is not None
    assert "marginal" in cases["rise_time"].find("system-out").text
    assert len(cases["settling_time"]) == 0


@pytest.mark.parametrize("device", ["unix", "emulated"] if SLOW else ["unix"])
def test_acceptance_on_another_device_gives_the_models_numbers(
    accept, tmp_path, monkeypatch, device
):
    engine = next(e for e in ENGINES if DEVICES[device] in e.name)
    require(engine.missing(), engine.remedy)
    monkeypatch.setattr(acceptance, "plan", lambda scenario: [StepSequence()])
    _, model, _ = accept(PRESS, "--to", tmp_path / "model")
    _, other, _ = accept(PRESS, "--to", tmp_path / device, "--device", device)
    assert other["sequences"] == model["sequences"]
    assert (tmp_path / device / "steps.csv").read_bytes() == (
        tmp_path / "model" / "steps.csv"
    ).read_bytes()


def test_acceptance_keeps_the_fault_campaign_and_judges_it_from_its_rows(
    accept, tmp_path, monkeypatch
):
    monkeypatch.setattr(acceptance, "plan", lambda scenario: [])
    monkeypatch.setattr(fault_campaign, "MOMENTS", MOMENTS[2:3])
    quick = tmp_path / "quick.toml"
    times = 'stuck = "0.6 s"\napart_time = "1.2 s"\nclear = "0.3 s"\n'
    quick.write_text(PRESS.read_text(encoding="utf-8") + f"\n[supervisor]\n{times}")
    to = tmp_path / "acc"
    code, report, _ = accept(quick, "--to", to)
    assert code == 0
    assert len(report["faults"]) == len(FAULTS)
    assert all(run["as_stated"] for run in report["faults"])
    code, again, _ = accept("--from", to)
    assert again == report
    page = (to / "report.html").read_text(encoding="utf-8")
    assert "11 of 11 as the table of faults states" in page
    rows = (to / "faults.csv").read_text().replace("SENSOR OPEN", "SENSOR SHORT", 1)
    (to / "faults.csv").write_text(rows)
    code, _, error = accept("--from", to)
    assert code == 2
    assert "SHA-256" in error


def test_acceptance_refuses_copies_that_were_edited_and_takes_other_limits(
    accept, tmp_path
):
    to = tmp_path / "acc"
    accept(PRESS, "--limits", LIMITS, "--to", to)
    kept = to / "limits.toml"
    kept.write_text(kept.read_text().replace('"0.5 %"', '"50 %"', 1))
    code, _, error = accept("--from", to)
    assert code == 2
    assert "limits.toml: its SHA-256" in error
    assert accept("--from", to, "--limits", LIMITS)[0] == 0
    _, report, _ = accept(PRESS, "--to", to)
    assert not [f for f in figures(report).values() if f["verdict"] == "pass"]


def test_acceptance_keeps_the_recording_that_a_scenario_names(accept, tmp_path):
    scenario = shipped_scenario_path().with_name("press_bag_recorded.toml")
    to = tmp_path / "acc"
    accept(scenario, "--to", to)
    _, report, _ = accept("--from", to)
    assert report["complete"]
