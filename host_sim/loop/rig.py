"""One loop as arrays: what the compiled kernels need of a scenario."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt

from host_sim.law.controller import Controller
from host_sim.law.quantise import quantise
from host_sim.loop.kernel import NOISE
from host_sim.loop.loop import CURRENT_STREAM
from host_sim.plant.channel import ChannelState
from host_sim.plant.plant import Plant, scripted
from host_sim.plant.settings import Channel
from host_sim.scenario.load import Scenario
from host_sim.scenario.profile import Profile, currents_ma

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int32]


Known = tuple[tuple[int, float | str], ...]


@dataclass(frozen=True)
class Shape:
    """What code may count on: loops of one shape run side by side.

    Lengths of all arrays, and what is `known_elements` of the numbers that
    decide branches.
    """

    words: int
    block: int
    channels: Known
    params: Known
    coefficients: Known
    body: tuple[tuple[str, int], ...]


@dataclass(frozen=True, eq=False)
class Rig:
    """A loop at rest, before its first tick.

    Parameters
    ----------
    tick_s : float
        Length of a tick [s].
    delay_ticks : int
        0 or 1: ticks from a decision to its effect.
    words, block : int arrays
        State and parameters of the law.
    commands : float array, shape (ticks,)
        What arrives at the converter of the command [mA].
    channels : float array, shape (3, 6)
        Current, pressure, supply; see `kernel`.
    seed : int
        Of the noise.
    scripts : float array, shape (ticks + 1, 2)
        Source pressure and consumption from each tick on [Pa], [kg/s].
    body : dict of str to array
        The plant's arrays by their names in `Body`.
    substeps : int
        Of the plant in a tick.
    """

    tick_s: float
    delay_ticks: int
    words: IntArray
    block: IntArray
    commands: FloatArray
    channels: FloatArray
    seed: int
    scripts: FloatArray
    body: dict[str, npt.NDArray[Any]]
    substeps: int

    @property
    def ticks(self) -> int:
        """Length of the command."""
        return len(self.commands)

    @cached_property
    def noise(self) -> FloatArray:
        """Draw the noise of all three channels, each from its own stream."""
        noise = np.zeros((self.ticks, len(self.channels)))
        for channel, stream in enumerate((CURRENT_STREAM, 0, 1)):
            if self.channels[channel, NOISE] > 0.0:
                random = np.random.default_rng((self.seed, stream))
                noise[:, channel] = random.standard_normal(self.ticks)
        return noise

    @cached_property
    def shape(self) -> Shape:
        """Tell which code it needs."""
        return Shape(
            words=len(self.words),
            block=len(self.block),
            channels=known_elements(self.channels.ravel().tolist()),
            params=known_elements(self.body["params"].tolist()),
            coefficients=known_elements(self.body["coefficients"].tolist()),
            body=tuple((name, len(part)) for name, part in self.body.items()),
        )

    def under(self, block: IntArray) -> "Rig":
        """Return the same loop under other parameters of the law."""
        other = replace(self, block=block)
        # Neither depends on the block, and both take longer than the rest.
        vars(other).update(shape=self.shape, noise=self.noise)
        return other

    def arguments(self) -> dict[str, Any]:
        """Return the kernels' arguments for this loop alone."""
        return side_by_side([self])


def side_by_side(rigs: Sequence[Rig]) -> dict[str, Any]:
    """Arrange the arrays of loops of one kind lane by lane, for the kernels."""
    first = rigs[0]
    return {
        "tick_s": first.tick_s,
        "delay_ticks": first.delay_ticks,
        "words": _lanes([rig.words for rig in rigs]),
        "block": _lanes([rig.block for rig in rigs]),
        "commands": _lanes([rig.commands for rig in rigs]),
        "channels": _lanes([rig.channels for rig in rigs]),
        "noise": _lanes([rig.noise for rig in rigs]),
        "scripts": _lanes([rig.scripts for rig in rigs]),
        "pending": np.zeros((1, len(rigs))),
        "body": {
            **{
                name: _lanes([rig.body[name] for rig in rigs])
                for name in first.body
                if name != "heads"
            },
            "heads": first.body["heads"].copy(),
            "substeps": first.substeps,
        },
    }


def _lanes(parts: Sequence[npt.NDArray[Any]]) -> npt.NDArray[Any]:
    longest = max(len(part) for part in parts)
    # Delay lines: each is full of one number, so a longer one means the same.
    filled = [
        part
        if len(part) == longest
        else np.concatenate([part, np.full(longest - len(part), part[-1])])
        for part in parts
    ]
    return np.stack(filled, axis=-1)


def known_elements(numbers: list[float]) -> Known:
    """Say of each number what code may count on: 0, 1/2 or 1, or its sign.

    Every branch of the kernels that depends on parameters alone asks for no
    more than this.

    >>> known_elements([0.0, 7.0, 0.5, -2.0])
    ((0, 0.0), (1, '+'), (2, 0.5), (3, '-'))
    """
    return tuple(
        (slot, number if number in (0.0, 0.5, 1.0) else "+" if number > 0.0 else "-")
        for slot, number in enumerate(numbers)
    )


def make_rig(scenario: Scenario, plant: Plant | None = None) -> Rig:
    """Prepare a scenario for the compiled kernels.

    Parameters
    ----------
    scenario : Scenario
    plant : Plant, optional
        Its plant at rest, where the caller has one.

    Returns
    -------
    Rig

    Raises
    ------
    InputError
        Settings that no block or no plant can have.
    """
    tick_s = scenario.law.tick_s
    plant = plant or Plant(scenario.plant, tick_s)
    pilot = Controller(quantise(scenario.law))
    return Rig(
        tick_s=tick_s,
        delay_ticks=scenario.compute_delay_ticks,
        words=np.array(pilot.state, dtype=np.int32),
        block=np.array(pilot.block.words, dtype=np.int32),
        commands=_commands(
            scenario.profile, scenario.current_channel, tick_s, scenario.ticks
        ),
        channels=_channels(scenario, tick_s / plant.substeps),
        seed=scenario.plant.sensing.seed,
        scripts=_scripts(scenario),
        body={
            name: np.array(part, dtype=np.int32 if name == "heads" else np.float64)
            for name, part in vars(plant.body).items()
            if name != "substeps"
        },
        substeps=plant.substeps,
    )


@lru_cache(maxsize=256)
def _commands(
    profile: Profile, channel: Channel, tick_s: float, ticks: int
) -> FloatArray:
    state = ChannelState(channel, tick_s, 0)
    currents = currents_ma(profile, tick_s, ticks)
    commands = np.array([state.arriving(current) for current in currents])
    commands.flags.writeable = False
    return commands


def _channels(scenario: Scenario, step_s: float) -> FloatArray:
    sensing = scenario.plant.sensing
    # The command's own delay and lag are in what arrives.
    rows = (
        _channel(scenario.current_channel, 0.0),
        _channel(sensing.pressure, sensing.pressure.delay_s / step_s),
        _channel(sensing.supply, sensing.supply.delay_s / step_s),
    )
    return np.array(rows)


def _channel(channel: Channel, delay_steps: float) -> list[float]:
    return [
        channel.low,
        channel.high,
        float(channel.bits or 0),
        channel.drift_per_s,
        channel.noise,
        delay_steps,
    ]


def _scripts(scenario: Scenario) -> FloatArray:
    """Tabulate source pressure and consumption from each tick on."""
    arrangement, tick_s = scenario.plant.arrangement, scenario.law.tick_s
    table = np.zeros((scenario.ticks + 1, 2))
    table[:, 0] = arrangement.supply.pressure_pa
    changes = (arrangement.supply.changes, arrangement.consumption.changes)
    for column, script in enumerate(changes):
        for tick, level in sorted(scripted(script, tick_s).items()):
            table[tick:, column] = level
    return table
