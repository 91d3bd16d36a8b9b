"""The bound on speed against the true derivatives of drawn plants."""

import numpy as np
import pytest
from drawn_plants import ARRANGEMENTS, drawn_case
from hypothesis import given
from hypothesis import strategies as st

from host_sim.plant import layout
from host_sim.plant.arrangement import rates_of
from host_sim.plant.network import Bounds, Network, pressure_gain
from host_sim.plant.settings import Air, Volume
from host_sim.plant.small_model import SmallModel
from host_sim.plant.stiffness import time_constants

BOUNDS = Bounds(Air(), 9e5, 1e5)


@given(st.floats(1e-6, 1e-2), st.floats(1e-6, 1e-2), st.floats(1e-9, 1e-3))
def test_two_joined_volumes_settle_at_the_sum_of_their_rates(one_m3, other_m3, slope):
    """Closed form: rates 0 and s (g1 + g2)."""
    network = Network(BOUNDS, {"a": Volume(one_m3, 2e5), "b": Volume(other_m3, 3e5)})
    network.join("a", "b", slope)
    specific = 287.05 * 293.15
    fastest = slope * specific * (1.0 / one_m3 + 1.0 / other_m3)
    (_, still), (name, rate) = network.modes()
    assert still == pytest.approx(0.0, abs=1e-9 * fastest)
    assert rate == pytest.approx(fastest, rel=1e-9)
    if max(one_m3, other_m3) > 1.001 * min(one_m3, other_m3):
        assert name == ("a" if one_m3 < other_m3 else "b")


@pytest.mark.parametrize(
    ("thermal", "factor"),
    [
        ("isothermal", 1.0),
        # 1.25 times (9 / 2)**0.2: compressed to the top.
        ("polytropic", 1.25 * 4.5**0.2),
        ("adiabatic", 1.4 * 1.4**0.5),
    ],
)
def test_pressure_gain_takes_the_hottest_air(thermal, factor):
    gain = pressure_gain(Volume(1e-3, 2e5, thermal, 1.25), BOUNDS)
    assert gain == pytest.approx(factor * 287.05 * 293.15 / 1e-3, rel=1e-12)


def fastest_of(model):
    """Largest rate at which small changes of mass and energy die out [1/s]."""
    body = model.body
    slots = [
        slot
        for node, block in model.volumes.values()
        for slot in (
            (node, node + 1) if body.params[block + layout.BALANCES] else (node,)
        )
    ]

    def rates():
        body.refresh()
        rates_of(body.inputs, body.params, body.view, body.rates)
        return np.array([body.rates[slot] for slot in slots])

    matrix = np.zeros((len(slots), len(slots)))
    for column, slot in enumerate(slots):
        kept, size = body.state[slot], 1e-7 * body.state[slot]
        ends = []
        for side in (-1.0, 1.0):
            body.state[slot] = kept + side * size
            ends.append(rates())
        body.state[slot] = kept
        matrix[:, column] = (ends[1] - ends[0]) / (2.0 * size)
    return float(np.abs(np.linalg.eigvals(matrix)).max())


@given(
    st.sampled_from(ARRANGEMENTS),
    st.integers(0, 99),
    st.floats(0.001, 1.0),
    st.lists(st.floats(-7.0, 0.0), min_size=4, max_size=4),
    st.floats(0.7, 1.4),
    st.floats(-1.0, 1.0),
)
def test_no_state_is_faster_than_the_bound(
    arrangement, number, level, gaps, hotter, drive
):
    """Pressures anywhere, most of them nearly equal; air hot or cold."""
    case = drawn_case(arrangement, number)
    source_pa = case.settings.arrangement.supply.pressure_pa
    model = SmallModel(case.settings, source_pa, 1e-4)
    for name, gap in zip(model.volumes, gaps, strict=False):
        near_pa = source_pa if name == "supply" else level * case.span_pa + 101_325.0
        model.fill(name, near_pa * (1.0 - 0.5 * 10.0**gap))
        node, block = model.volumes[name]
        if model.body.params[block + layout.BALANCES]:
            model.body.state[node] /= hotter
    model.body.inputs[layout.DRIVE] = model.body.state[layout.POSITION] = drive
    parts = time_constants(case.settings)
    bound = max(1 / part.seconds for part in parts if part.part.endswith("volume"))
    walls = sum(1 / part.seconds for part in parts if part.part.endswith("wall"))
    assert fastest_of(model) <= 1.01 * (bound + walls)
