"""Settings to integers and back; what does not fit is refused."""

import pytest
from bench_law import exact_settings
from hypothesis import given
from hypothesis import strategies as st

from host_sim.errors import InputError
from host_sim.law.gain import quantise_gain
from host_sim.law.quantise import quantise
from host_sim.law.read_back import read_back
from host_sim.law.settings import (
    Command,
    Gains,
    LawSettings,
    Measurement,
    Output,
    Pid,
    ProportionalDrive,
    SupplyCompensation,
    ValvePairDrive,
)

fraction = st.just(0.0) | st.floats(1e-3, 1)
times = st.just(0.0) | st.floats(1e-3, 2)


@st.composite
def full_settings(draw):
    """Draw settings of every kind."""
    drive = draw(
        st.builds(ProportionalDrive, st.floats(0.001, 0.1), st.floats(0.01, 1))
        | st.builds(ValvePairDrive, st.floats(0, 1), st.floats(0, 1))
    )
    return LawSettings(
        tick_s=draw(st.sampled_from((0.001, 0.005, 0.01, 0.02))),
        command=Command(
            start_ma=draw(st.sampled_from((4.0, 12.0))),
            end_ma=20.0,
            reverse=draw(st.booleans()),
            cutoff=draw(st.none() | st.floats(0, 0.1)),
            ramp_up_per_s=draw(st.floats(0.01, 5) | st.just(float("inf"))),
        ),
        measurement=Measurement((-0.1, 1.3), draw(times), (0.02, 0.98), 0.2),
        supply=SupplyCompensation(
            strength=draw(fraction),
            flow=tuple(draw(st.permutations([k / 16 for k in range(17)]))),
            filter_s=draw(times),
            valid=(0.01, 1.0),
            lost=draw(fraction),
        ),
        pid=Pid(
            gains=Gains(
                draw(st.floats(0.1, 50)), draw(st.floats(0.01, 50)), draw(fraction)
            ),
            weight=draw(fraction),
            derivative_filter_s=draw(times),
            tracking_s=draw(st.floats(0.05, 10)),
            conditional=draw(st.booleans()),
            deadband=draw(st.floats(0, 0.1)),
            deadband_hysteresis=draw(st.floats(0, 0.02)),
            hold=draw(st.just(()) | st.just(((0.0, 0.0), (1.2, 0.9)))),
        ),
        output=Output(
            draw(st.floats(-1, 0)), 1.0, 3.0, draw(st.floats(0.1, 9)), "fixed"
        ),
        drive=drive,
    )


@given(settings=full_settings())
def test_quantise_of_what_is_read_back_is_the_same_block(settings):
    block = quantise(settings)
    assert list(quantise(read_back(block)).words) == list(block.words)


@given(wanted=st.floats(2e-5, 8_191))
def test_quantise_gain_is_within_half_a_mantissa_step(wanted):
    gain = quantise_gain("kp", wanted)
    assert gain.kept == pytest.approx(wanted, rel=0.5 / 8_191.5)


@given(wanted=st.floats(1e-9, 1.6e-5))
def test_quantise_small_gain_is_within_half_the_smallest_step(wanted):
    gain = quantise_gain("ki", wanted)
    assert abs(gain.kept - wanted) <= 0.5 / 2**29


def test_quantise_integrator_of_a_slow_loop_keeps_its_rate():
    # h = 0.02 s, Ti = 1200 s, K = 1: h/Ti = 2**-15.87, beyond 16-bit integrals.
    # Astrom & Wittenmark's word-length example, from memory, exponent computed.
    gain = quantise_gain("ki", 0.02 / 1200)
    assert gain.kept == pytest.approx(0.02 / 1200, rel=1e-4)


@pytest.mark.parametrize(
    ("wanted", "remedy"),
    [
        (20_000.0, "nearest that fits 8191.5"),
        (-1.0, "nearest that fits 0"),
        (float("nan"), "allowed 0 ... 8191.5"),
        (1e-10, "smallest that fits 1.86265e-09"),
    ],
)
def test_quantise_refuses_a_gain_that_does_not_fit(wanted, remedy):
    with pytest.raises(InputError) as refusal:
        quantise_gain("controller.ki", wanted)
    assert remedy in str(refusal.value)
    assert "controller.ki" in str(refusal.value)
    assert "\n" not in str(refusal.value)


def test_quantise_refuses_a_tracking_time_below_one_tick():
    with pytest.raises(InputError, match=r"controller\.tracking"):
        quantise(exact_settings(Gains(1.0, 1.0), tracking_s=0.001))


def test_quantise_refuses_a_ramp_that_would_stand_still():
    with pytest.raises(InputError, match="smallest that fits"):
        quantise(exact_settings(command={"ramp_up_per_s": 1e-9}))


def test_gains_convert_between_forms():
    gains = Gains.from_ideal(2.0, ti_s=4.0, td_s=0.5)
    assert (gains.ti_s, gains.td_s) == (4.0, 0.5)
    assert Gains(2.0).ti_s == float("inf")
    assert Gains(0.0, 1.0).td_s == 0.0
