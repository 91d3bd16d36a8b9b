"""Quantities as text: factors, forms of writing, round trips, refusals.

Published numbers: factors of NIST SP 811 (2008), appendix B, second-hand, typed
in by hand with the digits printed there; tolerance: half of their last digit.
The cubic foot a minute is from memory. The psi rows follow from the factor.
"""

import math
import subprocess
import sys

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from host_sim.errors import InputError
from host_sim.scenario.units import KINDS, STANDARD, Basis, format_quantity, parse

BASIS = Basis(scfm_density_kg_m3=1.2226, span_pa=6e5)
UNITS = {
    "pressure": ("bar gauge", "psig", "psia", "kPa absolute", "bar(g)", "mbar abs"),
    "absolute pressure": ("bara", "kPa absolute"),
    "pressure difference": ("bar", "psi", "mbar", "inH2O"),
    "pressure rate": ("mbar/h", "Pa/s"),
    "share": ("%", "bar", "psi"),
    "share rate": ("%/s", "bar/s"),
    "time": ("s", "ms", "min", "us"),
    "length": ("m", "mm", "in", "ft"),
    "volume": ("L", "l", "in3", "cu in", "m³", "cm3", "dm3", "mL"),
    "current": ("mA", "A", "uA", "µA"),
    "current rate": ("mA/h", "mA/s"),
    "frequency": ("Hz", "kHz", "1/min"),
    "temperature": ("K", "degC", "degF", "°C"),
    "conductance": ("dm3/(s.bar)", "l/(s bar)", "cfm/psi", "m3/(s·Pa)"),
    "flow": ("l/min ANR", "SCFM", "Nm3/h", "g/s", "SCFM (68 degF, 14.7 psia)"),
    "ratio": ("%", ""),
    "rate": ("%/s", "1/s", "s-1"),
    "heat conductance": ("W/K",),
    "density": ("kg/m3", "g/l"),
    "gas constant": ("J/(kg K)", "J/(kg.K)", "kJ/(kg K)"),
}
PAIRS = [(kind, unit) for kind, units in UNITS.items() for unit in units]


def refused(text, kind, basis=STANDARD):
    with pytest.raises(InputError) as caught:
        parse(text, kind, "press.toml: some.key", basis)
    message = str(caught.value)
    assert "\n" not in message
    assert message.startswith("press.toml: some.key")
    assert "; " in message
    return message


def test_units_every_kind_is_covered():
    assert set(UNITS) == set(KINDS)


@pytest.mark.parametrize(
    ("text", "expected_pa", "half_digit"),
    [
        ("1 psi", 6.894757e3, 5e-4),
        ("1 atm", 1.01325e5, 1e-6),
        ("1 kgf/cm2", 9.80665e4, 1e-6),
        ("1 inHg", 3.386389e3, 5e-4),
        ("1 inH2O", 2.490889e2, 5e-5),
        ("1 mmHg", 1.333224e2, 5e-5),
        ("1 torr", 1.333224e2, 5e-5),
        ("1 bar", 1e5, 1e-9),
    ],
)
def test_units_pressures_match_sp_811(text, expected_pa, half_digit):
    assert parse(text, "pressure difference", "x") == pytest.approx(
        expected_pa, abs=half_digit
    )


@pytest.mark.parametrize(
    ("psi", "expected_pa"),
    [
        (3, 20684.27),
        (6, 41368.54),
        (9, 62052.82),
        (12, 82737.09),
        (15, 103421.36),
        (20, 137895.15),
        (27, 186158.45),
        (30, 206842.72),
    ],
)
def test_units_psi_rows(psi, expected_pa):
    difference_pa = parse(f"{psi} psi", "pressure difference", "x")
    assert difference_pa == pytest.approx(expected_pa, abs=0.005)
    assert parse(f"{psi} psig", "pressure", "x") == pytest.approx(
        difference_pa + 101_325.0
    )
    assert parse(f"{psi} psia", "pressure", "x") == pytest.approx(difference_pa)


def test_units_gallon_and_cubic_foot():
    assert parse("1 gallon", "volume", "x") == pytest.approx(3.785412e-3, abs=5e-10)
    flow = parse("1 cfm/psi", "conductance", "x") * 6894.757293168361
    assert flow == pytest.approx(4.719474432e-4, rel=1e-9)


@pytest.mark.parametrize(
    "text",
    [
        "6 bar gauge",
        "6 barg",
        "6 bar (g)",
        "6 bar(g)",
        "600 kPa gauge",
        "7.01325 bar absolute",
        "7.01325 bar abs",
        "7.01325 bara",
        "701325 Pa absolute",
        " 6.0e0  bar gauge ",
    ],
)
def test_units_forms_of_a_pressure_agree(text):
    assert parse(text, "pressure", "x") == pytest.approx(701_325.0, rel=1e-12)


def test_units_gauge_stands_on_the_basis_atmosphere():
    high = Basis(atmosphere_pa=80_000.0)
    assert parse("6 bar gauge", "pressure", "x", high) == 680_000.0
    assert parse("6 bar absolute", "pressure", "x", high) == 600_000.0


@pytest.mark.parametrize(
    "text",
    [
        "0.35 dm3/(s.bar)",
        "0.35 dm3/(s bar)",
        "0.35 dm³/(s·bar)",
        "0.35 l/(s bar)",
        "0.35 L/s/bar",
        "0.35 dm3 s-1 bar-1",
        "21 l/(min.bar)",
        "3.5e-9 m3/(s.Pa)",
    ],
)
def test_units_forms_of_a_conductance_agree(text):
    assert parse(text, "conductance", "x") == pytest.approx(3.5e-9, rel=1e-12)


@pytest.mark.parametrize(("kind", "unit"), PAIRS)
@given(number=st.floats(1e-3, 1e3))
@example(number=1.0)
def test_units_text_round_trip_keeps_the_number(kind, unit, number):
    said_si = parse(f"{number!r} {unit}", kind, "x", BASIS)
    text = format_quantity(said_si, kind, unit, BASIS, digits=17)
    assert parse(text, kind, "x", BASIS) == pytest.approx(said_si, rel=1e-12)
    back = float(text.split()[0])
    # A gauge pressure near zero is a difference of two large numbers.
    assert back == pytest.approx(number, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("kind", KINDS)
def test_units_the_example_of_each_kind_can_be_read(kind):
    assert math.isfinite(parse(KINDS[kind].example, kind, "x", BASIS))


@given(st.text(max_size=20), st.sampled_from(sorted(KINDS)))
@example("1 m**9**9**9", "volume")
@example("1 (", "volume")
@example("1 m/0", "volume")
@example("1 SCFM (0 K, 1 bara)", "flow")
@example("1 SCFM (1..2 degF, 1 bara)", "flow")
@example("1e999 L", "volume")
def test_units_any_text_is_a_finite_number_or_one_line(text, kind):
    message = ""
    number = 0.0
    try:
        number = parse(text, kind, "x", BASIS)
    except InputError as error:
        message = str(error)
    assert math.isfinite(number)
    assert "\n" not in message


def test_units_bare_numbers_only_for_ratios():
    assert parse(0.3, "ratio", "x") == 0.3
    assert parse("30 %", "ratio", "x") == pytest.approx(0.3)
    assert parse("2.5 %/%", "ratio", "x") == pytest.approx(2.5)
    assert "the unit is missing" in refused(2.5, "volume")


@pytest.mark.parametrize(
    ("text", "kind", "why", "remedy"),
    [
        ("2.5", "volume", "the unit is missing", "write for example '2.5 L'"),
        ("2.5 bar", "volume", "wrong dimension", "write for example '2.5 L'"),
        ("2.5 zorks", "volume", "unknown unit 'zorks'", "'2.5 L'"),
        ("2,5 L", "volume", "decimal comma", "decimal point"),
        ("nan L", "volume", "not a finite number", "'2.5 L'"),
        ("-inf", "ratio", "not a finite number", "'30 %'"),
        ("much", "ratio", "does not begin with a number", "'30 %'"),
        (True, "ratio", "not a quantity", "'30 %'"),
        (["1 L"], "volume", "not a quantity", "'2.5 L'"),
        ("6 bar", "pressure", "neither gauge nor absolute", "'bar gauge'"),
        ("87 psi", "pressure", "neither gauge nor absolute", "'psi absolute'"),
        ("-1.2 bar gauge", "pressure", "below vacuum", "-1.013 bar gauge"),
        ("-15 psig", "pressure", "below vacuum", "above vacuum"),
        ("-1 bara", "pressure", "below vacuum", "above vacuum"),
        ("1 bar gauge", "pressure difference", "neither gauge nor", "'0.2 bar'"),
        ("1 psig", "pressure difference", "neither gauge nor", "'0.2 bar'"),
        ("0 bar gauge", "absolute pressure", "atmosphere itself", "absolute"),
        ("20 C", "temperature", "wrong dimension", "'20 degC'"),
        ("-300 degC", "temperature", "below absolute zero", "-273.15 degC"),
        ("0.1 bar", "share", "wrong dimension", "'2 %'"),
        ("12 V", "current", "wrong dimension", "'12 mA'"),
    ],
)
def test_units_refusals_say_what_and_how(text, kind, why, remedy):
    message = refused(text, kind)
    assert why in message
    assert remedy in message
    if isinstance(text, str):
        assert repr(text) in message


def test_units_a_share_of_the_range_may_be_a_pressure():
    assert parse("0.06 bar", "share", "x", BASIS) == pytest.approx(0.01)
    assert parse("0.6 bar/s", "share rate", "x", BASIS) == pytest.approx(0.1)


def test_units_importing_the_keys_does_not_load_pint():
    code = (
        "import sys, host_sim.scenario.load, host_sim.scenario.keys; "
        "assert 'pint' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True, timeout=60)
