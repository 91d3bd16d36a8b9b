"""`savings` as a user runs it: text, JSON, figure, records, refusals."""

import json
import os
import signal
import subprocess
import sys
import time

import pytest

from host_sim.cli.main import main
from host_sim.scenario.load import shipped_scenario_path

ASSUMED = shipped_scenario_path("savings.toml")
SLOWER = ('kc = "1.5 %/%"', 'kc = "0.6 %/%"')


@pytest.fixture
def press(tmp_path):
    """Write a short press with one step, under a name, with replacements."""

    def write(name, *replacements, scenario="veneer_press.toml"):
        text = shipped_scenario_path(scenario).read_text(encoding="utf-8")
        for old, new in (
            ('"12 s"', '"4.5 s"'),
            ('  ["4.5 s", "16 mA"],\n  ["8 s", "8 mA"],\n', ""),
            *replacements,
        ):
            assert text.count(old) == 1, old
            text = text.replace(old, new)
        path = tmp_path / name
        path.write_text(text, encoding="utf-8")
        return path

    return write


@pytest.fixture
def assumed(tmp_path):
    """Write the shipped assumptions with replacements."""

    def write(*replacements):
        text = ASSUMED.read_text(encoding="utf-8")
        for old, new in replacements:
            assert text.count(old) == 1, old
            text = text.replace(old, new)
        path = tmp_path / "assumed.toml"
        path.write_text(text, encoding="utf-8")
        return path

    return write


def savings(before, after, *more, assume=ASSUMED):
    return main(["savings", *map(str, (before, after, "--assume", assume, *more))])


def as_json(capsys, before, after, assume=ASSUMED):
    assert savings(before, after, "--json", assume=assume) == 0
    return json.loads(capsys.readouterr().out)


def test_cli_savings_prints_what_json_says_with_every_assumption(press, capsys):
    before, after = press("before.toml", SLOWER), press("after.toml")
    report = as_json(capsys, before, after)
    assert savings(before, after) == 0
    text = " ".join(capsys.readouterr().out.split())
    total = report["total_money_per_year"]
    assert total["lowest"] < total["p10"] < total["p50"] < total["p90"]
    assert (
        f"A saving of {float(format(total['expected'], '.3g')):.0f} credits a year"
        in text
    )
    assert "Assumed, not promised" in text
    assert report["promise"] in text
    assert report["verdict"] in text
    for written in report["assumptions"]["as_written"].values():
        for one in written:
            assert one in text
    for sentence in (*report["premises"], *report["notes"], *report["cautions"]):
        assert sentence in text
    assert report["before"]["air_used"]["volume_l_anr"] > 5.0


def test_cli_savings_air_goes_from_mass_to_volume_to_energy(press, capsys):
    report = as_json(capsys, press("before.toml", SLOWER), press("after.toml"))
    for side in ("before", "after"):
        air = report[side]["air_used"]
        volume_m3 = air["mass_kg"] / 1.185
        assert air["volume_l_anr"] == pytest.approx(1e3 * volume_m3)
        assert report[side]["air_energy_kwh"] == pytest.approx(0.12 * volume_m3)
    spared_kwh = report["before"]["air_energy_kwh"] - report["after"]["air_energy_kwh"]
    money = report["money_per_year"]["air"]["expected"]
    assert money == pytest.approx(120_000 * spared_kwh * 0.20)


def test_cli_savings_of_one_scenario_twice_are_zero(press, capsys):
    path = press("press.toml")
    report = as_json(capsys, path, path)
    assert report["total_money_per_year"]["expected"] == 0.0
    assert report["time_gained_per_cycle_s"]["expected"] == 0.0
    assert report["payback_years"] is None
    assert report["verdict"].startswith("No gain")


def test_cli_savings_loss_is_said_and_has_no_payback(press, capsys):
    report = as_json(capsys, press("before.toml"), press("after.toml", SLOWER))
    assert report["total_money_per_year"]["expected"] < 0.0
    assert report["verdict"].startswith("A loss of ")
    assert report["payback_years"] is None


def test_cli_savings_in_us_units_are_the_metric_ones(press, capsys, assumed):
    metric = as_json(capsys, press("before.toml", SLOWER), press("after.toml"))
    us = "veneer_press_us.toml"
    american = as_json(
        capsys,
        press("before.toml", SLOWER, scenario=us),
        press("after.toml", scenario=us),
        assumed(
            ('"0.15 bar"', '"2.175566 psi"'),
            (
                'flow = ["0.2 g/s", "0.5 g/s", "1 g/s"]',
                'flow = ["0.02645547 lb/min", "0.06613868 lb/min", "0.1322774 lb/min"]',
            ),
            ('"3 credits/kg"', '"1.360777 credits/lb"'),
        ),
    )
    for name in ("time_gained_per_cycle_s", "total_money_per_year", "payback_years"):
        assert american[name] == pytest.approx(metric[name], rel=2e-3), name


def test_cli_savings_of_records_are_those_of_the_runs_they_hold(
    press, capsys, tmp_path
):
    runs = press("before.toml", SLOWER), press("after.toml")
    records = []
    for run in runs:
        record = run.with_suffix(".csv")
        assert main(["step", str(run), "--csv", str(record)]) == 0
        text = record.read_text().replace("current_ma", "current [mA]", 1)
        record.write_text(text)
        records.append(record)
    capsys.readouterr()
    simulated, recorded = as_json(capsys, *runs), as_json(capsys, *records)
    mixed = as_json(capsys, runs[0], records[1])
    for report in (recorded, mixed):
        for side in ("before", "after"):
            for name in ("time_per_cycle_s", "outside_tolerance_s"):
                assert report[side][name] == pytest.approx(
                    simulated[side][name], abs=1e-6
                )
        assert "air" not in report["money_per_year"]
        assert "air is not counted: a record does not show it" in report["notes"]


def test_cli_savings_draws_a_page_of_zeros_in_dollars(press, assumed, tmp_path):
    zeros = ('"3 %"', '"0 %"')
    dollars = assumed(('"Veneer press', '"A $ press_{ for $'), zeros)
    text = dollars.read_text(encoding="utf-8").replace("credits", "$")
    dollars.write_text(text, encoding="utf-8")
    path, picture = press("press.toml"), tmp_path / "page.png"
    assert savings(path, path, "--plot", picture, assume=dollars) == 0
    assert picture.read_bytes().startswith(b"\x89PNG")


def test_cli_savings_page_says_that_nothing_is_promised(press):
    from host_sim.show.savings import savings_figure
    from host_sim.size.savings import estimate_savings, read_case

    case = read_case(press("before.toml", SLOWER), press("after.toml"), ASSUMED)
    figure = savings_figure(estimate_savings(case))
    small = " ".join(figure.get_supxlabel().split())
    for words in ("Assumed, not promised", "25 credits/h", "relief valve", "One run"):
        assert words in small
    assert "Payback" in figure.get_suptitle()


REFUSALS = {
    "missing scenario": (["no-such.toml", None], None, "no-such.toml"),
    "missing record": (["no-such.csv", None], None, "no-such.csv"),
    "neither": (["press.txt", None], None, "neither scenario nor record"),
    "negative price": (
        [None, None],
        ('"3 credits/kg"', '"-3 credits/kg"'),
        "material.price = '-3 credits/kg': negative",
    ),
    "falling range": (
        [None, None],
        ("100_000, 120_000", "130_000, 120_000"),
        "do not rise",
    ),
}


@pytest.mark.parametrize("name", REFUSALS)
def test_cli_savings_refuses_in_one_line(name, press, assumed, capsys, tmp_path):
    sides, replacement, words = REFUSALS[name]
    path = press("press.toml")
    assume = assumed(*([replacement] if replacement else []))
    before = sorted(tmp_path.iterdir())
    sides = [tmp_path / side if side else path for side in sides]
    assert savings(*sides, "--plot", tmp_path / "page.png", assume=assume) == 2
    error = capsys.readouterr().err
    assert error.count("\n") == 1
    assert words in error
    assert sorted(tmp_path.iterdir()) == before


def test_cli_savings_of_different_commands_are_refused(press, capsys):
    after = press("after.toml", ('["0.5 s", "12 mA"]', '["0.5 s", "14 mA"]'))
    assert savings(press("before.toml"), after) == 2
    error = capsys.readouterr().err
    assert "step 1 is 0 -> 3.75 bar gauge at 0 s after the first, and 0 -> 3" in error
    assert error.count("\n") == 1


def test_cli_savings_of_a_step_that_never_settles_are_refused(press, assumed, capsys):
    tight = assumed(('"0.15 bar"', '"0.1 mbar"'))
    assert savings(press("before.toml"), press("after.toml"), assume=tight) == 2
    assert "no step has a 'tolerance' time" in capsys.readouterr().err


def test_cli_savings_interrupted_prints_no_half_answer(press):
    path = press("long.toml", ('"4.5 s"', '"2000 s"'))
    command = [sys.executable, "-m", "host_sim", "savings", str(path), str(path)]
    process = subprocess.Popen(
        [*command, "--assume", str(ASSUMED)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=os.environ,
    )
    time.sleep(4.0)
    process.send_signal(signal.SIGINT)
    out, error = process.communicate(timeout=30)
    assert process.returncode == 130
    assert out == ""
    assert "stopped" in error
