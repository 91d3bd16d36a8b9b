"""31 bits: every intermediate, every shift, every divisor, over legal runs.

Each operation of the law is checked while it runs on drawn and extreme words:
a search, not yet the proof.
"""

from random import Random

import pytest
from checked import Checked, TooWideError, checked_law
from hypothesis import given
from hypothesis import strategies as st

from firmware_model.law import arith, layout
from firmware_model.law.tick import tick
from host_sim.prove.episodes import INPUTS, draw_episode


def run_checked(episode):
    """Run an episode on checked integers; every word must stay in its range."""
    params = [Checked(word) for word in episode.params]
    state = [Checked(word) for word in episode.state]
    with checked_law():
        for k in range(episode.ticks):
            for slot in range(INPUTS):
                state[slot] = Checked(episode.inputs[INPUTS * k + slot])
            tick(state, params)
            for (name, (low, high), _), word in zip(layout.STATE, state, strict=True):
                assert low <= word <= high, (name, word)


@given(seed=st.integers(0, 2**32))
def test_width_of_every_intermediate_stays_in_31_bits(seed):
    run_checked(draw_episode(Random(seed), ticks=40))


def test_width_check_sees_an_intermediate_that_is_too_wide():
    with checked_law(), pytest.raises(TooWideError):
        arith.scale(Checked(32_768), 32_768, 15)


def test_width_check_sees_a_bad_shift():
    with checked_law(), pytest.raises(TooWideError):
        arith.scale(Checked(1), Checked(1), Checked(31))
