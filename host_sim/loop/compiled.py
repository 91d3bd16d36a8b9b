"""A scenario on the compiled loop: the same law and plant, run at full speed."""

from collections.abc import Callable

import numpy as np

from firmware_model.law import layout as law_layout
from host_sim.law.controller import STATE_SLOT, Controller
from host_sim.loop.native import recorder
from host_sim.loop.record import LAW_COLUMNS, PLANT_COLUMNS, Run, slots_of_view
from host_sim.loop.rig import FloatArray, IntArray, make_rig
from host_sim.plant.plant import Plant
from host_sim.scenario.load import Scenario
from host_sim.scenario.profile import currents_ma

FULL = law_layout.FULL
PIECE_TICKS = 10_000
"""Between two pieces a run can be stopped."""


def run_compiled(
    scenario: Scenario, each_piece: Callable[[int], None] | None = None
) -> Run:
    """Run a scenario from its start to its end, compiled.

    Gives what `loop.run_scenario` gives, bit for bit: the law counts in the same
    integers, and the plant's float64 operations are neither fused nor
    reordered.

    Parameters
    ----------
    scenario : Scenario
    each_piece : callable, optional
        Called with the number of ticks done.

    Returns
    -------
    Run
        Shorter when interrupted.

    Raises
    ------
    InputError
        The plant gave a number that is not finite.
    """
    plant = Plant(scenario.plant, scenario.law.tick_s)
    rig = make_rig(scenario, plant)
    slots = slots_of_view(len(rig.body["view"]))
    attributes = [vars(Controller)[name] for name in LAW_COLUMNS.values()]
    word_slots = (*(a.slot for a in attributes), STATE_SLOT["FAULTS"])
    code = recorder(rig.shape, word_slots, tuple(slots.values()))
    given = {
        **rig.arguments(),
        "word_record": np.empty((rig.ticks, len(word_slots)), dtype=np.int32),
        "view_record": np.empty((rig.ticks, len(slots))),
        "flow_record": np.empty((rig.ticks, 2)),
    }
    done = 0
    try:
        while done < rig.ticks:
            piece = min(PIECE_TICKS, rig.ticks - done)
            code({**given, "first": done, "ticks": piece})
            _check_finite(plant, given["view_record"][done : done + piece], done)
            done += piece
            if each_piece is not None:
                each_piece(done)
        _check_finite(plant, given["body"]["state"].T, done)
    except KeyboardInterrupt:
        if not done:
            raise
    records = [given[f"{name}_record"][:done] for name in ("word", "view", "flow")]
    currents = currents_ma(scenario.profile, rig.tick_s, done)
    return Run(rig.tick_s, _columns(np.array(currents), slots, *records))


def _check_finite(plant: Plant, rows: FloatArray, first: int) -> None:
    """Refuse rows of which one is not finite; the tick before it went wrong."""
    bad = np.flatnonzero(~np.isfinite(rows).all(axis=1))
    if bad.size:
        raise plant.out_of_range((first + bad[0] - 1) * plant.tick_s)


def _columns(
    currents: FloatArray,
    slots: dict[str, int],
    words: IntArray,
    views: FloatArray,
    flows: FloatArray,
) -> dict[str, FloatArray]:
    shown = dict(zip(slots, views.T.copy(), strict=True))
    absent = np.full(len(currents), np.nan)
    return {
        "current_ma": currents,
        **{name: 100 * (words[:, k] / FULL) for k, name in enumerate(LAW_COLUMNS)},
        "drive_percent": 100 * flows[:, 0],
        "fault_bits": words[:, -1].astype(float),
        **{name: shown.get(name, absent) for name in PLANT_COLUMNS},
        "air_used_kg": flows[:, 1].copy(),
    }
