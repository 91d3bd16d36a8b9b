"""Dead zones of integer integrators and filters, and that `carry` has none.

Source of the published rows: the project's collected check values, section 13,
"Integer integrator dead band" and "First-order IIR", computed there from the
definition of each rounding, not taken from a book. Typed in as they stand; all are
whole numbers and must be met exactly.
"""

from array import array

import pytest
from bench_law import exact_pilot, tick
from hypothesis import given
from hypothesis import strategies as st

from firmware_model.law.arith import carry
from host_sim.law.gain import quantise_gain
from host_sim.law.settings import Gains, LawSettings, Pid
from host_sim.tune.wordlength_integral import (
    PLAIN_STEPS,
    dead_zone_curve,
    floor_step,
    rounded_step,
    smallest_error,
    study_integral,
    ticks_until_move,
    truncated_step,
)
from host_sim.tune.wordlength_rest import REMAINDERS

mantissas = st.integers(1, 16_383)
shifts = st.integers(1, 29)
sides = st.sampled_from((-1, 1))
errors = st.integers(1, 28_750)

# ki, shift; smallest error that adds anything, above and below.
ROWS = [
    (1, 8, floor_step, 256, 1),
    (1, 8, truncated_step, 256, 256),
    (1, 8, rounded_step, 128, 129),
    (3, 10, floor_step, 342, 1),
    (3, 10, truncated_step, 342, 342),
    (3, 10, rounded_step, 171, 171),
    (13, 12, floor_step, 316, 1),
    (13, 12, truncated_step, 316, 316),
    (13, 12, rounded_step, 158, 158),
]


@pytest.mark.parametrize(("mantissa", "shift", "step", "above", "below"), ROWS)
def test_smallest_error_of_plain_steps_is_the_published_one(
    mantissa, shift, step, above, below
):
    assert smallest_error(step, mantissa, shift, 1) == above
    assert smallest_error(step, mantissa, shift, -1) == below


@given(mantissa=mantissas, shift=shifts)
def test_smallest_error_follows_the_published_rule(mantissa, shift):
    whole = -(-(1 << shift) // mantissa)
    half = -(-(1 << (shift - 1)) // mantissa)
    assert smallest_error(truncated_step, mantissa, shift, 1) == whole
    assert smallest_error(truncated_step, mantissa, shift, -1) == whole
    assert smallest_error(floor_step, mantissa, shift, 1) == whole
    assert smallest_error(floor_step, mantissa, shift, -1) == 1
    assert smallest_error(rounded_step, mantissa, shift, 1) == half
    assert smallest_error(rounded_step, mantissa, shift, -1) in (half, half + 1)


@given(mantissa=mantissas, shift=shifts, error=errors, side=sides)
def test_carry_lets_every_error_move_at_the_tick_that_is_told(
    mantissa, shift, error, side
):
    needed = ticks_until_move(mantissa, shift, error)
    # Until then the remainder just grows by the product, so leap to the last tick.
    rest = array("i", [side * mantissa * error * (needed - 1)])
    assert carry(rest, 0, array("i", [mantissa, shift]), 0, side * error) * side > 0
    assert needed <= -(-(1 << shift) // (mantissa * error))
    if needed > 1:
        rest = array("i", [side * mantissa * error * (needed - 2)])
        assert carry(rest, 0, array("i", [mantissa, shift]), 0, side * error) == 0
        assert rest[0] == side * mantissa * error * (needed - 1)


@given(
    mantissa=mantissas, shift=st.integers(1, 14), error=st.integers(1, 9), side=sides
)
def test_carry_from_rest_moves_first_at_the_tick_that_is_told(
    mantissa, shift, error, side
):
    rest, gain = array("i", [0]), array("i", [mantissa, shift])
    needed = ticks_until_move(mantissa, shift, error)
    moves = [carry(rest, 0, gain, 0, side * error) for _ in range(needed)]
    assert not any(moves[:-1])
    assert moves[-1] * side > 0


@pytest.mark.parametrize(
    ("step", "rising", "falling"),
    [(floor_step, -15, 0), (truncated_step, -15, 15), (rounded_step, -7, 8)],
)
def test_first_order_filter_of_plain_steps_stops_short_as_published(
    step, rising, falling
):
    def settle(start, goal):
        y = start
        for _ in range(400):
            y += step(goal - y, 1, 4)
        return y

    assert settle(0, 1_000) - 1_000 == rising
    assert settle(1_000, 0) == falling


@given(start=st.integers(0, 25_000), goal=st.integers(0, 25_000), k=st.integers(1, 6))
def test_first_order_filter_of_the_law_does_not_stop_short(start, goal, k):
    rest, gain, y = array("i", [0]), array("i", [1, k]), start
    for _ in range(40 << k):
        y += carry(rest, 0, gain, 0, goal - y)
    assert y == goal


@given(ki_per_s=st.floats(0.05, 5.0), side=sides)
def test_law_moves_its_output_by_one_count_of_error_when_told(ki_per_s, side):
    pilot = exact_pilot(Gains(0.0, ki_per_s))
    needed = ticks_until_move(pilot.block["I_GAIN"], pilot.block["I_SHIFT"])
    tick(pilot, 5_000, 5_000)
    for _ in range(needed - 1):
        tick(pilot, 5_000 + side, 5_000)
    assert pilot.word("INTEGRAL") == 0
    tick(pilot, 5_000 + side, 5_000)
    assert pilot.word("INTEGRAL") == side


@given(ki_per_s=st.floats(0.05, 5.0), side=sides)
def test_law_without_its_remainders_is_blind_as_far_as_rounding_is(ki_per_s, side):
    pilot = exact_pilot(Gains(0.0, ki_per_s))
    mantissa, shift = pilot.block["I_GAIN"], pilot.block["I_SHIFT"]
    seen = smallest_error(rounded_step, mantissa, shift, 1)

    def integral_after(ticks, error):
        for _ in range(ticks):
            for slot in REMAINDERS:
                pilot.state[slot] = 0
            tick(pilot, 5_000 + side * error, 5_000)
        return pilot.word("INTEGRAL")

    assert integral_after(300, seen - 1) == 0
    assert integral_after(3, seen) * side > 0


@given(tick_s=st.floats(1e-3, 0.1), deadband=st.integers(0, 200))
def test_study_integral_names_the_gains_at_which_dead_zones_end(tick_s, deadband):
    pid = Pid(gains=Gains(1.0, 0.5), deadband=deadband / 25_000)
    study = study_integral(LawSettings(tick_s, pid=pid), settle_band=0.01)
    for zone in study.zones:
        step = PLAIN_STEPS[zone.arithmetic]
        for ki_per_s, room in (
            (zone.smallest_ki_per_s, 1),
            (zone.smallest_ki_within_band_per_s, 250 - deadband + 1),
        ):
            # A thousandth either side is more than the mantissa's 1 in 16 384, and
            # less than the next whole count of the widest room.
            above = quantise_gain("ki", 1.001 * ki_per_s * tick_s)
            below = quantise_gain("ki", 0.999 * ki_per_s * tick_s)
            assert max(_both(step, above)) <= room
            assert max(_both(step, below)) > room


def _both(step, gain):
    return [smallest_error(step, gain.mantissa, gain.shift, side) for side in (1, -1)]


def test_study_integral_without_integral_action_has_nothing_to_say():
    law = LawSettings(0.01, pid=Pid(gains=Gains(2.0)))
    assert study_integral(law, 0.01) is None


def test_smallest_gain_kept_still_moves_the_output():
    study = study_integral(LawSettings(0.01, pid=Pid(gains=Gains(1.0, 2.5))), 0.01)
    kept = quantise_gain("ki", study.smallest_ki_per_s * 0.01)
    assert (kept.mantissa, kept.shift) == (1, 29)
    assert ticks_until_move(1, 29) == 2**28
    exact = quantise_gain("ki", study.smallest_exact_ki_per_s * 0.01)
    assert exact.mantissa == 8_192


@pytest.mark.parametrize("name", PLAIN_STEPS)
def test_dead_zone_never_grows_with_the_gain(name):
    curve = dead_zone_curve(name, 0.01, [10.0 ** (k / 10) for k in range(-90, 25)])
    gains_per_s, zones = zip(*curve, strict=True)
    assert list(zones) == sorted(zones, reverse=True)
    # 1e-9 1/s is below the smallest gain that the board keeps.
    assert gains_per_s[0] > 0.5 * 2**-29 / 0.01
