"""The estimate that users see; its size is judged in `test_against_solver.py`."""

import numpy as np
import pytest
from drawn_plants import smooth_case

from host_sim.plant.error_estimate import error_estimate_pa, load_pressures_pa
from host_sim.plant.plant import Plant


def test_load_pressures_are_those_of_a_plant_advanced_by_hand():
    case = smooth_case("direct", "adiabatic")
    plant = Plant(case.settings, case.tick_s)
    expected = []
    for drive in case.drives:
        plant.advance(drive)
        expected.append(plant.pressures_pa().load)
    found = load_pressures_pa(Plant(case.settings, case.tick_s), case.drives)
    assert found.tolist() == expected


@pytest.mark.parametrize("arrangement", ["direct", "chain"])
def test_estimate_is_the_true_error_where_the_plant_is_smooth(arrangement):
    case = smooth_case(arrangement, "wall")
    asked, exact = (
        load_pressures_pa(Plant(case.settings, case.tick_s, factor), case.drives)
        for factor in (1, 32)
    )
    true_pa = np.abs(asked - exact).max()
    found_pa = error_estimate_pa(case.settings, case.tick_s, case.drives)
    assert true_pa > 1e-5
    assert found_pa == pytest.approx(true_pa, rel=0.05)


def test_estimate_takes_any_way_to_run_a_plant():
    """The runs differ by their substeps; 15 Pa apart are 16 Pa of error."""
    case, factors = smooth_case("direct", "isothermal"), []

    def run(plant, drives):
        factors.append(plant.substeps)
        return np.full(len(drives), 15.0 if len(factors) == 1 else 0.0)

    estimate_pa = error_estimate_pa(case.settings, case.tick_s, case.drives, run)
    assert estimate_pa == pytest.approx(16.0)
    assert factors[1] == 2 * factors[0]
