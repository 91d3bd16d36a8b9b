"""Flow through tubes against a library, a second integration and a formula.

1. ``fluids`` 1.3.1: `Churchill_1977`, `friction_factor` (smooth), `isothermal_gas`
   and `P_isothermal_critical_flow`, the last two also with the printed results of
   their documented example (Wilkes, Fluid Mechanics for Chemical Engineers, as
   fluids quotes it): parts in 1e9.
2. The momentum balance ``dp (1 - G**2/(rho p)) = -f G**2/(2 D rho) dx`` integrated by
   scipy: 1e-6. It settles which density belongs into the library's formula: that
   at the inlet. With the mean density instead the flow of the 4 mm tube below
   would be 6.33136e-4 kg/s, 4 % less.
3. Hagen-Poiseuille in closed form, 4 mm x 10 m, 1.02 to 1.00 bar, mu = 1.82e-5:
   8.28729e-5 kg/s, typed in to its digits.
4. CoolProp 8.0.0: viscosity, typed in; speed of sound 343.343 m/s, with R = 287.049
   and real air: 4e-4.
5. C = 0.029 D**2/sqrt(L/D**1.25 + 510), b = 474 C/D**2 in SI units, a formula of
   the trade for plastic tubes with their fittings, from memory and not looked up:
   12 % in C and 0.15 in b. Its ends are not ours, its friction is a power law.
"""

import math

import fluids
import numpy as np
import pytest
from fluids.friction import Churchill_1977
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from host_sim.plant.gas import nozzle_flow, restriction_flow
from host_sim.plant.settings import Air, Tube
from host_sim.plant.tube import (
    acoustic_delay_s,
    equivalent_restriction,
    friction_factor,
    isothermal_flow,
    laminar_flow,
    tube_flow,
    viscosity_pa_s,
)

AIR = Air()
ROOM_K = 293.15
LONG = Tube(10.0, 0.004)
LONG_AREA_M2 = math.pi / 4 * 0.004**2

lengths_m = st.floats(0.05, 100.0)
bores_m = st.floats(0.001, 0.05)
pressures = st.floats(1.2e5, 15e5)
ratios = st.floats(0.05, 0.999)


@pytest.mark.parametrize("reynolds", [10.0, 1e3, 2.3e3, 3e3, 1e4, 1e5, 1e6, 1e7])
def test_friction_factor_is_the_librarys(reynolds):
    expected = Churchill_1977(reynolds, 0.0)
    assert friction_factor(reynolds) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("reynolds", np.geomspace(1e4, 1e7, 13))
def test_friction_factor_is_that_of_a_smooth_pipe(reynolds):
    """Colebrook's law with no roughness, by the library: 0.7 %."""
    expected = fluids.friction_factor(reynolds, eD=0.0)
    assert friction_factor(reynolds) == pytest.approx(expected, rel=7e-3)


def test_isothermal_flow_passes_the_documented_example():
    """rho = 11.3 kg/m3, fd = 0.00185, 10 to 9 bar, 1000 m, 0.5 m."""
    air = Air(gas_constant_j_kg_k=1e6 / 11.3 / ROOM_K)
    area_m2 = math.pi / 4 * 0.5**2
    loss = 0.00185 * 1000.0 / 0.5
    found = isothermal_flow(loss, area_m2, 1e6, 9e5, air)
    assert found == pytest.approx(145.4847572636031, rel=1e-9)
    choked = isothermal_flow(loss, area_m2, 1e6, 389699.7317645518, air)
    for below_pa in (1e5, 3e5, 389699.0):
        assert isothermal_flow(loss, area_m2, 1e6, below_pa, air) == pytest.approx(
            choked, rel=1e-9
        )
    assert isothermal_flow(loss, area_m2, 1e6, 4e5, air) < 0.9999 * choked


@pytest.mark.parametrize("loss", [1.5, 7.5, 75.0, 3e3])
@pytest.mark.parametrize("ratio", [0.5, 0.8, 0.95])
def test_isothermal_flow_is_the_librarys(loss, ratio):
    inlet_kg_m3 = 7e5 / (AIR.gas_constant_j_kg_k * ROOM_K)
    pipe = {"fd": loss * 0.01, "L": 1.0, "D": 0.01}
    down_pa = max(ratio * 7e5, fluids.P_isothermal_critical_flow(7e5, **pipe))
    expected = fluids.isothermal_gas(inlet_kg_m3, P1=7e5, P2=down_pa, **pipe)
    found = isothermal_flow(loss, math.pi / 4 * 0.01**2, 7e5, ratio * 7e5, AIR)
    assert found == pytest.approx(expected, rel=1e-9)


def integrated_flow(friction, tube, up_pa, down_pa):
    """Mass flow at which the integrated balance ends at a pressure [kg/s]."""
    specific = AIR.gas_constant_j_kg_k * ROOM_K
    diameter_m = tube.inner_diameter_m
    area_m2 = math.pi / 4 * diameter_m**2

    def end_pa(flow_kg_s):
        flux = flow_kg_s / area_m2

        def slope(_, pressure):
            density = pressure / specific
            steep = friction * flux**2 / (2 * diameter_m * density)
            return -steep / (1 - flux**2 / (density * pressure))

        span = (0.0, tube.length_m)
        return solve_ivp(slope, span, [up_pa], rtol=1e-10, atol=1e-4).y[0, -1]

    return brentq(lambda flow: end_pa(flow) - down_pa, 3e-4, 7e-4, rtol=1e-10)


def test_isothermal_flow_is_the_integrated_momentum_balance():
    """4 mm x 10 m, 2.4 to 2.0 bar, the smooth pipe's factor at Re 11 073."""
    friction = fluids.friction_factor(11_073.0, eD=0.0)
    assert friction == pytest.approx(0.0300649, rel=1e-5)
    found = isothermal_flow(friction * 10.0 / 0.004, LONG_AREA_M2, 2.4e5, 2e5, AIR)
    expected = integrated_flow(friction, LONG, 2.4e5, 2e5)
    assert found == pytest.approx(expected, rel=1e-6)
    mean_kg_m3 = 2.2e5 / (AIR.gas_constant_j_kg_k * ROOM_K)
    with_mean = fluids.isothermal_gas(mean_kg_m3, friction, 2.4e5, 2e5, L=10.0, D=0.004)
    assert with_mean == pytest.approx(6.33136e-4, rel=1e-5)
    assert found == pytest.approx(with_mean * math.sqrt(2.4 / 2.2), rel=1e-9)


def test_laminar_flow_is_hagen_poiseuille():
    found = laminar_flow(LONG, AIR, 1.02e5, 1e5) * viscosity_pa_s(ROOM_K) / 1.82e-5
    assert found == pytest.approx(8.28729e-5, abs=6e-11)


def test_slow_flow_through_a_thin_tube_is_laminar():
    capillary = Tube(10.0, 0.001)
    slow = tube_flow(capillary, AIR, 1.02e5, 1e5)
    assert slow == pytest.approx(laminar_flow(capillary, AIR, 1.02e5, 1e5), rel=1e-3)


@pytest.mark.parametrize(
    ("celsius", "bar", "micro_pa_s"),
    [
        (-20, 7, 16.300),
        (-20, 14, 16.429),
        (0, 7, 17.313),
        (20, 1, 18.205),
        (20, 14, 18.408),
        (60, 7, 20.181),
        (60, 14, 20.282),
    ],
)
def test_viscosity_is_near_real_air(celsius, bar, micro_pa_s):
    """CoolProp, dry air: 2 %, most of it the pressure that the law leaves out."""
    found = viscosity_pa_s(celsius + 273.15) * 1e6
    assert found == pytest.approx(micro_pa_s, rel=0.02 if bar > 1 else 0.005)


@pytest.mark.parametrize(("length_m", "delay_ms"), [(10, 29.13), (30, 87.38)])
def test_sound_takes_the_published_time(length_m, delay_ms):
    """L/a with a = 343.343 m/s."""
    delay_s = acoustic_delay_s(Tube(length_m, 0.008), AIR)
    assert delay_s * 1e3 == pytest.approx(delay_ms, rel=4e-4)


def test_closed_tube_rings_at_the_quarter_wave():
    """10 m: 8.58 Hz = a / (4 L), closed form."""
    delay_s = acoustic_delay_s(LONG, AIR)
    assert 1.0 / (4.0 * delay_s) == pytest.approx(8.58, abs=6e-3)


@pytest.mark.parametrize(
    ("length_m", "bore_mm"),
    [(0.1, 8), (1, 4), (1, 8), (3, 8), (10, 4), (5, 20), (20, 12), (100, 50)],
)
def test_restriction_of_a_tube_is_near_the_formula_of_the_trade(length_m, bore_mm):
    bore_m = bore_mm * 1e-3
    c = 0.029 * bore_m**2 / math.sqrt(length_m / bore_m**1.25 + 510.0)
    path = equivalent_restriction(Tube(length_m, bore_m), AIR, 7e5).restriction
    assert path.conductance_m3_s_pa == pytest.approx(c, rel=0.12)
    assert path.critical_ratio == pytest.approx(474.0 * c / bore_m**2, abs=0.15)


@pytest.mark.parametrize("ambient_k", [263.15, 293.15, 333.15])
def test_restriction_of_a_tube_passes_what_the_tube_does(ambient_k):
    air = Air(ambient_temperature_k=ambient_k)
    tube = Tube(3.0, 0.008)
    fit = equivalent_restriction(tube, air, 7e5)
    choked = tube_flow(tube, air, 7e5, 1.4e5)
    for down_pa in np.linspace(0.03, 0.97, 30) * 7e5:
        sides = (7e5, ambient_k, down_pa, ambient_k)
        found = restriction_flow(fit.restriction, air, *sides)
        expected = tube_flow(tube, air, 7e5, down_pa)
        assert abs(found - expected) < 1.05 * fit.error * choked
    assert 0.001 < fit.error < 0.025


def test_restriction_of_a_thin_laminar_tube_says_that_it_fits_badly():
    assert equivalent_restriction(Tube(500.0, 0.0005), AIR, 7e5).error > 0.15


@given(lengths_m, bores_m, pressures, ratios)
def test_tube_passes_less_than_its_bounds(length_m, bore_m, up_pa, ratio):
    tube, down_pa = Tube(length_m, bore_m), ratio * up_pa
    flow = tube_flow(tube, AIR, up_pa, down_pa)
    ideal = nozzle_flow(math.pi / 4 * bore_m**2, up_pa, ROOM_K, down_pa, AIR)
    assert 0.0 < flow <= laminar_flow(tube, AIR, up_pa, down_pa)
    assert flow < ideal


@given(lengths_m, bores_m, pressures, ratios)
def test_tube_passes_more_if_shorter_wider_or_steeper(length_m, bore_m, up_pa, ratio):
    flow = tube_flow(Tube(length_m, bore_m), AIR, up_pa, ratio * up_pa)
    assert tube_flow(Tube(length_m / 1.1, bore_m), AIR, up_pa, ratio * up_pa) > flow
    assert tube_flow(Tube(length_m, 1.1 * bore_m), AIR, up_pa, ratio * up_pa) > flow
    assert tube_flow(Tube(length_m, bore_m), AIR, 1.1 * up_pa, ratio * up_pa) > flow
    assert tube_flow(Tube(length_m, bore_m), AIR, up_pa, up_pa) == 0.0
