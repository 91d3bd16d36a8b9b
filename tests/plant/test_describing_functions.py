"""Play, dead band and saturation as describing functions.

The kernel is driven by a sine and the first harmonic of its output is taken.
Expected: backlash of half width h, dead zone and saturation at half the
amplitude; Gelb & Vander Velde (1968) and Slotine & Li (1991), from memory, the
digits recomputed from the closed forms. Typed in to six digits; tolerance one
unit of the last, the sine being sampled 20 000 times.
"""

import numpy as np
import pytest

from host_sim.plant.chain import booster_opening
from host_sim.plant.volume import play

SAMPLES = 20_000
ANGLES = 2.0 * np.pi * np.arange(SAMPLES) / SAMPLES


def first_harmonic(outputs):
    """Complex gain of the first harmonic over a unit sine."""
    return 2j * np.mean(outputs * np.exp(-1j * ANGLES))


@pytest.mark.parametrize(
    ("ratio", "gain"),
    [
        (1.5, 0.291791 - 0.282942j),
        (2.0, 0.5 - 0.318310j),
        (3.0, 0.708209 - 0.282942j),
        (5.0, 0.857622 - 0.203718j),
        (10.0, 0.947956 - 0.114592j),
    ],
)
def test_play_has_the_describing_function_of_backlash(ratio, gain):
    position, outputs = 0.0, []
    for angle in np.tile(ANGLES, 2):
        position = play(position, np.sin(angle), 1.0 / ratio)
        outputs.append(position)
    found = first_harmonic(np.array(outputs[SAMPLES:]))
    assert found.real == pytest.approx(gain.real, abs=1e-6)
    assert found.imag == pytest.approx(gain.imag, abs=1e-6)


def test_play_as_wide_as_the_sine_passes_nothing():
    outputs = [play(0.0, np.sin(angle), 1.0) for angle in ANGLES]
    assert not any(outputs)


def test_booster_dead_band_has_the_describing_function_of_a_dead_zone():
    """A / delta = 2: 0.391002; beyond the band the slope is 1 / (1 - d)."""
    band = 0.1
    outputs = [booster_opening(2 * band * np.sin(angle), band) for angle in ANGLES]
    found = first_harmonic(np.array(outputs)) / (2 * band) * (1.0 - band)
    assert found == pytest.approx(0.391002, abs=1e-6)


def test_booster_stop_has_the_describing_function_of_saturation():
    """A / a = 2: 0.608998."""
    outputs = [booster_opening(2.0 * np.sin(angle), 0.0) for angle in ANGLES]
    assert first_harmonic(np.array(outputs)) / 2.0 == pytest.approx(0.608998, abs=1e-6)
