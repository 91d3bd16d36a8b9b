"""Quick formulas against published and worked answers.

Sources: 2 L from 1.01325 to 3 bar in 0.5 s from 8 bar, and 10 L from 1.013 to
2 bar in 0.70369 s, and the choked vent of 50 L: isothermal charging and blow-down,
the first from the closed form, the others "second-hand" with R T0 rho0 = 100 kPa
(hence R = 287.867). Tolerance: half a unit of the last digit typed.
"""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from stroke_plants import DM3_S_BAR, direct, judged_time_s

from host_sim.plant.settings import Air, Restriction, Volume
from host_sim.size.quick import (
    choked_fill_conductance,
    choked_vent_conductance,
    quick_conductance,
)
from host_sim.size.reasons import reasons
from host_sim.size.requirement import needed_path
from host_sim.size.stroke import Stroke, at_rest

WORKED_AIR = Air(gas_constant_j_kg_k=1e5 / (293.15 * 1.185), atmosphere_pa=1.013e5)


def test_two_litres_in_half_a_second():
    bag = Volume(2e-3, 1.01325e5)
    c = choked_fill_conductance(bag, 3e5, 8e5, 0.5, Air()) / DM3_S_BAR
    assert c == pytest.approx(0.99620, abs=5e-6)


def test_ten_litres_to_two_bar():
    bag = Volume(10e-3, 1.013e5)
    c = choked_fill_conductance(bag, 2e5, 7.013e5, 0.70369, WORKED_AIR) / DM3_S_BAR
    assert c == pytest.approx(2.0, rel=1e-5)


def test_fifty_litres_while_choked():
    bag = Volume(50e-3, 8.013e5)
    c = choked_vent_conductance(bag, 1.013e5 / 0.3, 8.6418, WORKED_AIR) / DM3_S_BAR
    assert c == pytest.approx(5.0, rel=1e-5)


def half_second(end_pa, supply_pa, thermal="isothermal"):
    """Two litres filled in half a second through b 0.4."""
    plant = direct(Volume(2e-3, 1.01325e5, thermal), supply_pa, lag_s=0.0)
    valve = replace(plant.valve, fill=Restriction(DM3_S_BAR, 0.4))
    plant = at_rest(replace(plant, valve=valve), 1.01325e5, 0.0)
    return Stroke("fill", plant, 1.01325e5, end_pa, 0.5)


def test_simulation_agrees_while_choked_and_isothermal():
    stroke = half_second(3e5, 8e5)
    needed = needed_path(stroke).conductance_m3_s_pa
    assert needed == pytest.approx(quick_conductance(stroke), rel=2e-4)
    assert needed / DM3_S_BAR == pytest.approx(0.99620, rel=2e-4)


@given(end=st.floats(0.2, 0.95), supply_pa=st.floats(4e5, 12e5))
def test_quick_formula_never_asks_for_more_than_the_isothermal_truth(end, supply_pa):
    end_pa = max(end * supply_pa, 1.2e5)
    stroke = half_second(end_pa, supply_pa)
    quick = stroke.with_conductance(quick_conductance(stroke))
    assert judged_time_s(quick) >= stroke.wanted_s * (1.0 - 1e-3)


def test_each_reason_is_what_it_says():
    cold = half_second(7e5, 8e5)
    hot = half_second(7e5, 8e5, "adiabatic")
    told = reasons(hot, needed_path(hot).conductance_m3_s_pa)
    words = [reason.words for reason in told]
    assert words[0].startswith("quick formula")
    assert words[1:] == ["flow below choking counted", "temperature of the load's air"]
    quick, subsonic, warm = (reason.conductance_m3_s_pa for reason in told)
    assert subsonic == pytest.approx(needed_path(cold).conductance_m3_s_pa, rel=1e-3)
    assert quick < subsonic
    # While choked an adiabatic charge is gamma times as quick.
    assert 0.65 * subsonic < warm < 0.85 * subsonic
