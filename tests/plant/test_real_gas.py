"""Real air against the ideal gas of the plant.

Authority: CoolProp 8.0.0, "Air" (dry), asked here, and typed in as printed for
R_air = 287.0491 J/(kg K). Ideal density errors and choked flows from the same
library: at 20 degC up to 14 bar ideal gas errs by at most 0.5 % in mass and 0.6 %
in choked flow, at -20 degC by 1.2 %. `compressibility` is the dry part of CIPM-2007,
from memory; 2e-4 in Z to 20 bar, 6e-4 to 50 bar, what was found when it was
written down.
"""

import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar

from host_sim.plant.gas import nozzle_flow
from host_sim.plant.real_gas import (
    WORTH_A_WORD,
    compressibility,
    ideal_density_error,
)
from host_sim.plant.settings import Air

R_AIR = 287.0491267875601
temperatures = st.floats(253.15, 333.15)


@pytest.mark.parametrize(
    ("celsius", "bar", "z", "error_percent"),
    [
        (-20, 7, 0.993908, -0.609),
        (-20, 14, 0.988156, -1.184),
        (0, 7, 0.995979, -0.402),
        (0, 14, 0.992266, -0.773),
        (20, 1, 0.999629, -0.037),
        (20, 2, 0.999263, -0.074),
        (20, 7, 0.997521, -0.248),
        (20, 10, 0.996543, -0.346),
        (20, 14, 0.995315, -0.468),
        (60, 7, 0.999578, -0.042),
        (60, 14, 0.999364, -0.064),
    ],
)
def test_compressibility_is_near_the_printed_one(celsius, bar, z, error_percent):
    state = (bar * 1e5, celsius + 273.15)
    assert compressibility(*state) == pytest.approx(z, abs=2e-4)
    assert 100 * ideal_density_error(*state) == pytest.approx(error_percent, abs=0.02)


@given(st.floats(1e4, 20e5), temperatures)
def test_compressibility_is_the_librarys_to_twenty_bar(pressure_pa, temperature_k):
    expected = PropsSI("Z", "P", pressure_pa, "T", temperature_k, "Air")
    assert compressibility(pressure_pa, temperature_k) == pytest.approx(
        expected, abs=2e-4
    )


@given(st.floats(20e5, 50e5), temperatures)
def test_compressibility_is_the_librarys_to_fifty_bar(pressure_pa, temperature_k):
    expected = PropsSI("Z", "P", pressure_pa, "T", temperature_k, "Air")
    assert compressibility(pressure_pa, temperature_k) == pytest.approx(
        expected, abs=6e-4
    )


@pytest.mark.parametrize("temperature_k", [200.0, 400.0])
def test_compressibility_has_half_or_more_of_the_deviation_far_outside(temperature_k):
    for pressure_pa in (7e5, 14e5, 50e5):
        deviation = PropsSI("Z", "P", pressure_pa, "T", temperature_k, "Air") - 1.0
        share = ideal_density_error(pressure_pa, temperature_k) / deviation
        assert 0.5 < share < 0.95


@given(st.floats(1e5, 50e5), temperatures)
def test_ideal_gas_is_worth_a_word_where_the_library_says_so(
    pressure_pa, temperature_k
):
    real_kg_m3 = PropsSI("D", "P", pressure_pa, "T", temperature_k, "Air")
    ideal_kg_m3 = pressure_pa / (R_AIR * temperature_k)
    true_error = abs(ideal_kg_m3 / real_kg_m3 - 1.0)
    if abs(true_error - WORTH_A_WORD) > 6e-4:
        said = abs(ideal_density_error(pressure_pa, temperature_k)) > WORTH_A_WORD
        assert said == (true_error > WORTH_A_WORD)


def choked_flux(pressure_pa, temperature_k):
    """Largest ``rho v`` of real air on its isentrope [kg/(s m2)]."""
    state = ("P", pressure_pa, "T", temperature_k, "Air")
    entropy, enthalpy = (PropsSI(key, *state) for key in ("S", "H"))

    def flux(ratio):
        throat = ("P", ratio * pressure_pa, "S", entropy, "Air")
        drop = enthalpy - PropsSI("H", *throat)
        return PropsSI("D", *throat) * (2.0 * drop) ** 0.5

    found = minimize_scalar(lambda r: -flux(r), bounds=(0.45, 0.6), method="bounded")
    return -found.fun


@pytest.mark.parametrize(
    ("celsius", "bar", "percent"),
    [(20, 1, 0.058), (20, 7, 0.308), (20, 14, 0.597), (0, 14, 0.761), (60, 14, 0.359)],
)
def test_ideal_nozzle_passes_too_little_by_the_stated_share(celsius, bar, percent):
    pressure_pa, temperature_k = bar * 1e5, celsius + 273.15
    air = Air(gas_constant_j_kg_k=R_AIR)
    ideal = nozzle_flow(1.0, pressure_pa, temperature_k, 0.0, air)
    real = choked_flux(pressure_pa, temperature_k)
    assert 100 * (1.0 - ideal / real) == pytest.approx(percent, abs=6e-4)
