"""`calibration` as a user runs it: tables of many shapes, verdicts, refusals.

The worked table and its printed results are those of
tests/measure/test_static_published.py (constructed and worked out outside the
project); the same tolerance, half of the last printed digit.
"""

import json

import pytest

from host_sim.cli.main import main

PSI_RANGE = "4..20 mA = 3..15 psig"
UP = (
    "3.000 4.494 5.994 7.500 9.006 10.512 12.018 13.518 15.012",
    "3.000 4.500 5.994 7.500 9.012 10.512 12.018 13.524 15.012",
    "3.006 4.494 6.000 7.506 9.006 10.518 12.024 13.518 15.018",
)
DOWN = (
    "3.012 4.530 6.036 7.548 9.060 10.554 12.048 13.536 15.012",
    "3.012 4.530 6.042 7.548 9.060 10.560 12.048 13.536 15.012",
    "3.018 4.536 6.036 7.554 9.066 10.554 12.054 13.542 15.018",
)


def worked_rows():
    """Rows in the order of measuring: cycle, direction, mA, psig."""
    for cycle, (up, down) in enumerate(zip(UP, DOWN, strict=True), 1):
        for word, row, order in (("up", up, 1), ("down", down, -1)):
            pairs = zip(range(4, 21, 2), map(float, row.split()), strict=True)
            for current, reading in list(pairs)[::order]:
                yield cycle, word, current, reading


def typed(header, form, separator, decimal="."):
    lines = [form(*row).replace(".", decimal) for row in worked_rows()]
    return "\n".join([header, *lines]).replace("|", separator) + "\n"


SHAPES = {
    "plain": typed(
        "current [mA]|pressure [psig]", lambda c, d, i, p: f"{i}|{p:.3f}", ","
    ),
    "decimal commas": typed(
        "Current (mA)|Pressure (psig)", lambda c, d, i, p: f"{i}.0|{p:.3f}", ";", ","
    ),
    "tabs and all columns": typed(
        "cycle|direction|current [mA]|pressure [psi (g)]",
        lambda c, d, i, p: f"{c}|{d}|{i}|{p:.3f}",
        "\t",
    ),
    "another order and unit": typed(
        "reading / kPa gauge|way|applied current in uA|nominal pressure [psig]",
        lambda c, d, i, p: f"{p * 6.894757293168361:.7f}|{d}|{i}000|{i - 3}",
        ";",
    ),
    "own suffixes": typed(
        "pressure_pa,current_ma",
        lambda c, d, i, p: f"{101325 + p * 6894.757293168361:.4f},{i}",
        ";",
    ),
    "cycles listed first": "# from a bench\n\n"
    + typed(
        "run|current [mA]|pressure [psig]", lambda c, d, i, p: f"{c}|{i}|{p:.3f}", ";"
    ),
}

POINTS = sorted(worked_rows(), key=lambda row: (row[0], row[2], row[1] == "down"))
SHAPES["ways side by side, inputs that scatter"] = (
    "cycle;direction;nominal [mA];current [mA];pressure [psig]\n"
    + "".join(
        f"{c};{d};{i};{i + e:.3f};{p + 0.75 * e:.5f}\n"
        for (c, d, i, p), e in zip(POINTS, [0.003, -0.002, 0.004] * 18, strict=True)
    )
)
SHAPES["units alone"] = typed("mA|psig", lambda c, d, i, p: f"{i}|{p:.3f}", ",")
SHAPES["all ways up, then all down"] = "direction,current [mA],pressure [psig]\n" + (
    "".join(
        f"{d},{i},{p}\n"
        for word in ("up", "down")
        for _, d, i, p in worked_rows()
        if d == word
    )
)


def run_json(capsys, *arguments):
    assert main(["calibration", *map(str, arguments), "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def write(path, text):
    path.write_text(text, encoding="utf-8")
    return path


@pytest.fixture
def table(tmp_path):
    return write(tmp_path / "table.csv", SHAPES["plain"])


@pytest.mark.parametrize("shape", SHAPES)
def test_calibration_reads_the_worked_table_however_it_is_typed(
    shape, capsys, tmp_path
):
    path = write(tmp_path / "t.csv", SHAPES[shape])
    report = run_json(capsys, path, "--range", PSI_RANGE, "--dead-band", "0.1 %")
    measured = {
        name: figure["measured_percent_of_span"]
        for name, figure in report["figures"].items()
    }
    printed = {
        "inaccuracy": 0.55,
        "hysteresis": 0.45,
        "hysteresis_single_cycle": 0.50,
        "hysteresis_alone": 0.35,
        "repeatability": 0.05,
        "linearity_independent": 0.1000,
        "linearity_terminal": 0.2000,
        "linearity_zero_based": 0.13333,
        "linearity_least_squares": 0.1439,
        "zero_error": 0.0667,
        "span_error": 0.0500,
    }
    for name, number in printed.items():
        assert measured[name] == pytest.approx(number, abs=5.1e-5), name
    assert report["least_error_percent_of_span"] == pytest.approx(-0.05, abs=5.1e-5)
    assert report["points"]["average_percent_of_span"][4] == pytest.approx(
        0.2917, abs=5.1e-5
    )
    assert len(report["travels"]) == 6
    assert {f["verdict"] for f in report["figures"].values()} == {
        "measured, not judged"
    }


LIMITS = """
guard = "10 %"
[limits]
inaccuracy = "0.6 %"
hysteresis = "0.4 %"
repeatability = "0.012 psi"
linearity_independent = "0.1 %"
hysteresis_alone = "0.5 %"
settling_time = "2 s"
"""


def test_calibration_judges_by_limits_with_margins(capsys, table, tmp_path):
    limits = write(tmp_path / "limits.toml", LIMITS)
    report = run_json(capsys, table, "--range", PSI_RANGE, "--limits", limits)
    figures = report["figures"]
    words = {name: figure["verdict"] for name, figure in figures.items()}
    assert words["inaccuracy"] == "marginal"
    assert words["hysteresis"] == "fail"
    # 0.012 psi is 0.1 % of 12 psi.
    assert words["repeatability"] == "pass"
    assert figures["repeatability"]["limit_percent_of_span"] == pytest.approx(0.1)
    # On its limit is within it, and has nothing left.
    assert words["linearity_independent"] == "marginal"
    assert words["hysteresis_alone"] == "not measured"
    assert words["zero_error"] == "measured, not judged"
    assert figures["hysteresis"]["margin_percent_of_span"] == pytest.approx(-0.05)
    assert any("settling_time" in note for note in report["notes"])


def test_calibration_prints_what_json_says_and_draws(capsys, table, tmp_path):
    limits = write(tmp_path / "limits.toml", LIMITS)
    figure = tmp_path / "errors.svg"
    arguments = [str(table), "--range", PSI_RANGE, "--limits", str(limits)]
    assert main(["calibration", *arguments, "--plot", str(figure)]) == 0
    text = capsys.readouterr().out
    for words in (
        "0.4500",
        "-0.0500",
        "fail",
        "marginal",
        "not opened",
        "relief valve",
    ):
        assert words in text
    assert "<svg" in figure.read_text()


@pytest.mark.parametrize(
    "text",
    ["4-20 mA = 3-15 psig", "4 to 20 mA=3 ... 15 psi (g)", "4,0..20,0 mA = 3..15 psig"],
)
def test_calibration_takes_the_range_as_people_write_it(text, capsys, table):
    report = run_json(capsys, table, "--range", text)
    found = report["figures"]["inaccuracy"]["measured_percent_of_span"]
    assert found == pytest.approx(0.55, abs=5.1e-5)


def test_calibration_reverse_acting_and_no_zero_named(capsys, tmp_path):
    path = write(
        tmp_path / "r.csv",
        "current [mA],pressure [kPa]\n4,100.4\n12,60\n20,20\n20,20\n12,60.8\n4,100\n",
    )
    report = run_json(capsys, path, "--range", "4..20 mA = 100..20 kPa")
    assert report["reverse_acting"] is True
    assert report["figures"]["inaccuracy"]["measured_percent_of_span"] == pytest.approx(
        1.0
    )
    assert report["figures"]["zero_error"]["measured_percent_of_span"] == pytest.approx(
        0.25
    )
    assert any("same zero" in note for note in report["notes"])


def test_calibration_turn_read_once_counts_both_ways(capsys, tmp_path):
    rows = "4,0\n12,0.5\n20,1\n12,0.6\n4,0\n12,0.5\n20,1\n12,0.6\n4,0\n"
    path = write(tmp_path / "s.csv", "current [mA],pressure [bar gauge]\n" + rows)
    report = run_json(capsys, path, "--range", "4..20 mA = 0..1 bar gauge")
    assert len(report["travels"]) == 4
    hysteresis = report["figures"]["hysteresis"]
    assert hysteresis["measured_percent_of_span"] == pytest.approx(10.0)
    assert any("counts both ways" in note for note in report["notes"])


def test_calibration_up_only_cycles_tell_no_hysteresis(capsys, tmp_path):
    rows = "4,0\n12,0.5\n20,1\n" * 2
    path = write(tmp_path / "u.csv", "current [mA],pressure [bar gauge]\n" + rows)
    report = run_json(capsys, path, "--range", "4..20 mA = 0..1 bar gauge")
    assert len(report["travels"]) == 2
    assert report["figures"]["hysteresis"]["verdict"] == "not measured"
    assert report["figures"]["repeatability"]["measured_percent_of_span"] == 0.0


HEAD = "current [mA];pressure [psig]\n"
UP_DOWN = "4;3\n12;9\n20;15\n20;15\n12;9\n4;3\n"
BAD_TABLES = {
    "empty file": ("", "empty table"),
    "header alone": (HEAD, "empty table"),
    "out of order": (HEAD + "4;3\n12;9\n8;6\n20;15\n", "row 4", "out of order"),
    "out of order by direction": (
        "current [mA];pressure [psig];direction\n4;3;up\n12;9;up\n8;6;up\n20;15;up\n",
        "row 4",
        "out of order",
    ),
    "twice the same": (HEAD + "4;3\n4;3\n12;9\n20;15\n", "row 3", "read twice"),
    "unequal cycles": (HEAD + UP_DOWN + "4;3\n20;15\n20;15\n4;3\n", "2 points where"),
    "unequal ways up": (HEAD + "4;3\n12;9\n20;15\n4;3\n20;15\n", "2 points where"),
    "unequal cycles by number": (
        "cycle;current [mA];pressure [psig]\n1;4;3\n1;12;9\n1;20;15\n2;4;3\n2;20;15\n",
        "cycle 2 up",
        "2 points where",
    ),
    "another point": (HEAD + UP_DOWN + "4;3\n16;9\n20;15\n", "same points"),
    "no unit": ("current;pressure [psig]\n4;3\n", "no column of current with a unit"),
    "two pressures": (
        "current [mA];p1 [psig];p2 [psig]\n4;3;3\n",
        "2 columns may be the pressure",
    ),
    "no number": (HEAD + "4;x\n", "row 2", "not a number"),
    "empty cell": (HEAD + "4;\n", "row 2", "no pressure"),
    "too many cells": ("current [mA],pressure [psig]\n4,0,3,5\n", "semicolons"),
    "no direction": (
        "current [mA];pressure [psig];direction\n4;3;sideways\n",
        "write up or down",
    ),
    "zero not named": ("current [mA];pressure [psi]\n4;3\n", "neither gauge nor"),
    "infinite": (HEAD + "4;inf\n", "finite"),
}


@pytest.mark.parametrize("name", BAD_TABLES)
def test_calibration_refuses_a_bad_table_in_one_line(name, capsys, tmp_path):
    text, *words = BAD_TABLES[name]
    path = write(tmp_path / "bad.csv", text)
    figure = tmp_path / "bad.png"
    arguments = [str(path), "--range", PSI_RANGE, "--plot", str(figure)]
    assert main(["calibration", *arguments]) == 2
    err = capsys.readouterr().err
    assert err.count("\n") == 1
    for word in words:
        assert word in err
    assert not figure.exists()


BAD_LIMITS = {
    "unknown name": ('[limits]\nhystersis = "0.5 %"\n', "did you mean hysteresis"),
    "no unit": ("[limits]\nhysteresis = 0.5\n", "no unit"),
    "no unit in a text": ('[limits]\nhysteresis = "0.5"\n', "no unit"),
    "wrong unit": ('[limits]\nsettling_time = "2 %"\n', "settling_time"),
    "negative": ('[limits]\nhysteresis = "-0.5 %"\n', "no sign"),
    "nothing": ("", "no limits"),
    "no table": ('hysteresis = "0.5 %"\n', "unknown key"),
    "not TOML": ("[limits\n", "not TOML"),
    "guard": ('guard = "100 %"\n[limits]\nhysteresis = "1 %"\n', "guard"),
}


@pytest.mark.parametrize("name", BAD_LIMITS)
def test_calibration_refuses_bad_limits_in_one_line(name, capsys, table, tmp_path):
    text, words = BAD_LIMITS[name]
    limits = write(tmp_path / "limits.toml", text)
    arguments = [str(table), "--range", PSI_RANGE, "--limits", str(limits)]
    assert main(["calibration", *arguments]) == 2
    err = capsys.readouterr().err
    assert err.count("\n") == 1
    assert words in err
    assert "limits.toml" in err


BAD_OPTIONS = {
    "range": (["--range", "4..20 mA"], "not a range"),
    "range unit": (["--range", "4..20 mA = 3..15 kg"], "no unit of pressure"),
    "range zero": (["--range", "4..20 mA = 3..15 psi"], "neither gauge nor absolute"),
    "range of nothing": (["--range", "4..20 mA = 3..3 psig"], "the same"),
    "dead band": (["--range", PSI_RANGE, "--dead-band", "-1 %"], "dead band"),
    "dead band unit": (["--range", PSI_RANGE, "--dead-band", "0.1"], "unit"),
    "picture": (["--range", PSI_RANGE, "--plot", "x.bmpx"], "bmpx"),
}


@pytest.mark.parametrize("name", BAD_OPTIONS)
def test_calibration_refuses_bad_options_in_one_line(name, capsys, table):
    arguments, words = BAD_OPTIONS[name]
    assert main(["calibration", str(table), *arguments]) == 2
    err = capsys.readouterr().err
    assert err.count("\n") == 1
    assert words in err
