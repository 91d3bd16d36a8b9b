"""A scenario on the compiled loop: the same law and plant, run at full speed."""

from functools import cache
from typing import Any

import numpy as np
import numpy.typing as npt

from firmware_model.law import layout as law_layout
from host_sim.compiling import compile_modules
from host_sim.law import counts
from host_sim.law.controller import STATE_SLOT, Controller
from host_sim.law.quantise import quantise
from host_sim.law.stages import STAGES
from host_sim.loop import kernel
from host_sim.loop.loop import CURRENT_STREAM
from host_sim.loop.record import (
    LAW_COLUMNS,
    PLANT_COLUMNS,
    FloatArray,
    Run,
    plant_slots,
)
from host_sim.plant import (
    arrangement,
    chain,
    channel,
    direct,
    gas,
    integrate,
    volume,
)
from host_sim.plant.channel import ChannelState
from host_sim.plant.plant import Plant, scripted
from host_sim.scenario.load import Scenario
from host_sim.scenario.profile import currents_ma

FULL = law_layout.FULL
IntArray = npt.NDArray[np.int32]
MODULES = (
    *STAGES,
    counts,
    gas,
    channel,
    volume,
    direct,
    chain,
    arrangement,
    integrate,
    kernel,
)


@cache
def compiled_loop() -> dict[str, Any]:
    """Compile law, plant and loop once."""
    return compile_modules(MODULES)


def run_compiled(scenario: Scenario) -> Run:
    """Run a scenario from its start to its end, compiled.

    Gives what `loop.run_scenario` gives: the law bit for bit, the plant to the
    last bits that a compiler may round otherwise.

    Parameters
    ----------
    scenario : Scenario

    Returns
    -------
    Run
    """
    tick_s = scenario.law.tick_s
    currents = currents_ma(scenario.profile, tick_s, scenario.ticks)
    plant = Plant(scenario.plant, tick_s)
    pilot = Controller(quantise(scenario.law))
    words = np.array(pilot.state, dtype=np.int32)
    slots = plant_slots(plant)
    attributes = [vars(Controller)[name] for name in LAW_COLUMNS.values()]
    word_slots = np.array([*(a.slot for a in attributes), STATE_SLOT["FAULTS"]])
    word_record = np.empty((scenario.ticks, len(word_slots)), dtype=np.int32)
    view_record = np.empty((scenario.ticks, len(slots)))
    air_record = np.empty(scenario.ticks)
    drives = np.zeros(scenario.ticks + scenario.compute_delay_ticks)
    compiled = compiled_loop()
    compiled["kernel.run_ticks"](
        tick_s,
        words,
        np.array(pilot.block.words, dtype=np.int32),
        _current_counts(scenario, currents),
        _channels(plant, scenario),
        _noise(scenario),
        _scripts(scenario),
        drives,
        word_slots,
        word_record,
        np.array(list(slots.values())),
        view_record,
        air_record,
        _arrays(plant),
    )
    return Run(
        tick_s,
        {
            "current_ma": np.array(currents),
            **{
                name: 100 * (word_record[:, k] / FULL)
                for k, name in enumerate(LAW_COLUMNS)
            },
            "drive_percent": 100 * drives[: scenario.ticks],
            "fault_bits": word_record[:, -1].astype(float),
            **{
                name: view_record[:, list(slots).index(name)]
                if name in slots
                else np.full(scenario.ticks, np.nan)
                for name in PLANT_COLUMNS
            },
            "air_used_kg": air_record,
        },
    )


def _arrays(plant: Plant) -> tuple[Any, ...]:
    """Return the plant's arrays and substeps as compiled code takes them."""
    parts = plant.body.arguments()
    return tuple(np.array(p) if isinstance(p, list) else p for p in parts)


def _current_counts(scenario: Scenario, currents: list[float]) -> IntArray:
    seed = (scenario.plant.sensing.seed, CURRENT_STREAM)
    channel_state = ChannelState(scenario.current_channel, scenario.law.tick_s, seed)
    return np.array(
        [counts.whole(channel_state.counts(current)) for current in currents],
        dtype=np.int32,
    )


def _channels(plant: Plant, scenario: Scenario) -> FloatArray:
    sensing, step_s = scenario.plant.sensing, plant.body.step_s
    return np.array(
        [
            [
                part.low,
                part.high,
                part.bits or 0,
                part.drift_per_s,
                part.delay_s / step_s,
            ]
            for part in (sensing.pressure, sensing.supply)
        ]
    )


def _noise(scenario: Scenario) -> FloatArray:
    sensing = scenario.plant.sensing
    noise = np.zeros((scenario.ticks, 2))
    for stream, part in enumerate((sensing.pressure, sensing.supply)):
        if part.noise > 0.0:
            random = np.random.default_rng((sensing.seed, stream))
            noise[:, stream] = part.noise * random.standard_normal(scenario.ticks)
    return noise


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
