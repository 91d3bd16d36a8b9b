"""Capacities as people write them: what is read, what is refused."""

import pytest

from host_sim.errors import InputError
from host_sim.plant.settings import Air
from host_sim.scenario.units import Basis
from host_sim.size.capacity_text import read_capacity
from host_sim.size.converting import convert

STATE = "60 degF, 14.696 psia"
CONDITIONS = "7 bar gauge to 6 bar gauge"


def read(text, basis=None):
    return read_capacity(text, Air(), basis or Basis(), "units.csv: row 3, fill")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("90 SCFM (60 degF, 14.696 psia)", "without the pressures"),
        ("600 l/min ANR", "without the pressures"),
        ("90 SCFM", "without the pressures"),
        ("90 SCFM at 100 psig to 90 psig", "several reference conditions"),
        ("600 l/min at 7 bar gauge to 6 bar gauge", "no stated conditions"),
        ("600 l/min ANR at 7 bar to 6 bar", "neither gauge nor absolute"),
        ("600 l/min ANR at 6 bar gauge to 7 bar gauge", "no drop"),
        ("600 l/min ANR at 6 bar gauge", "not two pressures"),
        ("Cv 0", "not above zero"),
        ("-2 dm3/(s.bar)", "not above zero"),
        ("4", "unit is missing"),
        ("4 dm3/(s.bar) b 1.2", "b outside"),
        ("Kv 1.0 xT 7", "xT outside"),
        ("plenty", "does not begin with a number"),
        ("Cv", "does not begin with a number"),
        ("", "no capacity"),
    ],
)
def test_what_is_no_capacity_is_refused_in_one_line(text, told):
    with pytest.raises(InputError) as refused:
        read(text)
    line = str(refused.value)
    assert told in line
    assert line.startswith("units.csv: row 3, fill")
    assert "\n" not in line


def test_bare_scfm_stands_on_a_stated_reference():
    stated = Basis(scfm_density_kg_m3=1.2226207)
    bare = read("90 SCFM at 100 psig to 90 psig b 0.3", stated)
    full = read(f"90 SCFM ({STATE}) at 100 psig to 90 psig b 0.3")
    bare_c, full_c = (one.likely.conductance_m3_s_pa for one in (bare, full))
    assert bare_c == pytest.approx(full_c, rel=1e-6)


@pytest.mark.parametrize(
    "text", ["Cv 1.2", "Kv 1 xT 0.7", "4 dm3/(s.bar)", f"600 l/min ANR at {CONDITIONS}"]
)
def test_conversion_keeps_what_was_said_and_spreads_the_rest(text):
    conversion = convert(text, CONDITIONS, STATE)
    said = {
        "Cv 1.2": (conversion.cv_gal_min, 1.2),
        "Kv 1 xT 0.7": (conversion.kv_m3_h, 1.0),
        "4 dm3/(s.bar)": (conversion.conductance_dm3_s_bar, 4.0),
    }.get(text, (conversion.flow_l_min_anr, 600.0))
    assert said[0] == pytest.approx((said[1],) * 3)
    for least, likely, most in (
        conversion.cv_gal_min,
        conversion.conductance_dm3_s_bar,
        conversion.flow_scfm,
    ):
        assert least <= likely <= most
    spreads = [
        most / least
        for least, _, most in (conversion.cv_gal_min, conversion.conductance_dm3_s_bar)
    ]
    assert text == "Kv 1 xT 0.7" or max(spreads) > 1.1
    assert conversion.assumed


def test_unreadable_reference_state_is_refused():
    with pytest.raises(InputError, match=r"--scfm = '60 degF': .*reference state"):
        convert("Cv 1.2", CONDITIONS, "60 degF")
