"""Hand-made runs for the golden vectors: an invented press, and extremes.

Together with random runs they take every branch of the law both ways.
"""

from array import array
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import cycle

from firmware_model.law import layout
from firmware_model.law.tick import reset, tick

STATE_SLOT = {row[0]: slot for slot, row in enumerate(layout.STATE)}
PARAMETER_SLOT = {row[0]: slot for slot, row in enumerate(layout.PARAMETERS)}
INPUTS = 5
AUTOMATIC, MANUAL, HOLD, SAFE = range(4)
REFERENCE_SUPPLY = 16_384
COUNTS_HIGH = layout.COUNTS[1]
_START_COUNTS = 3_000


@dataclass(frozen=True)
class Scene:
    """What goes into a run.

    Attributes
    ----------
    name : str
    params, start : array of int
        Parameter block; state words before the first tick.
    inputs : list of tuple of int
        Five words a tick.
    resets : frozenset of int
        Ticks before which the law is reset.
    """

    name: str
    params: "array[int]"
    start: "array[int]"
    inputs: list[tuple[int, ...]]
    resets: frozenset[int]


@dataclass(frozen=True)
class Phase:
    """A while with constant inputs.

    Attributes
    ----------
    ticks : int
    current_ua : int
    mode : int
    demand : int
        Manual output.
    supply_counts : int
    pressure_counts : int, optional
        What a broken sensor reads; the press's pressure unless given.
    """

    ticks: int
    current_ua: int
    mode: int = AUTOMATIC
    demand: int = 0
    supply_counts: int = REFERENCE_SUPPLY
    pressure_counts: int | None = None


_TUNED = {
    "I_GAIN": 9_000,
    "I_SHIFT": 18,
    "D_GAIN": 12_000,
    "D_SHIFT": 12,
    "LEAK_GAIN": 8_192,
    "LEAK_SHIFT": 15,
    "TRACK_GAIN": 9_000,
    "TRACK_SHIFT": 17,
    "FILTER_GAIN": 9_000,
    "FILTER_SHIFT": 14,
    "WEIGHT": 3_000,
    "DEADBAND": 100,
    "DEADBAND_HYSTERESIS": 80,
    "DWELL": 5,
}
_GUARDED = {
    "PRESSURE_LOW": 100,
    "PRESSURE_HIGH": 32_000,
    "SUPPLY_LOW": 100,
    "SUPPLY_HIGH": 32_000,
    "SUPPLY_LOST": 6_000,
    "CURRENT_PATIENCE": 8,
    "SENSOR_PATIENCE": 6,
}
# An invented flow function: choked up to a ratio of 0.25, then falling to nothing.
_FLOW = (
    *(16_384,) * 5,
    16_370,
    16_240,
    15_960,
    15_520,
    14_900,
    14_090,
    13_050,
    11_740,
    10_050,
    7_800,
    4_000,
    0,
)
_COMPENSATED = {
    "STRENGTH": 4_096,
    "ABSOLUTE_GAIN": 9_000,
    "ABSOLUTE_SHIFT": 14,
    **{f"FLOW_{k}": flow for k, flow in enumerate(_FLOW)},
    **{f"HOLD_{k}": 250 * k for k in range(layout.HOLD_POINTS)},
}
_STEPS = (
    Phase(40, 4_000),
    Phase(90, 14_000),
    Phase(60, 14_400),
    Phase(90, 20_000),
    Phase(80, 6_000),
)
_FAILURES = (
    Phase(50, 12_000),
    Phase(20, 2_000),
    Phase(30, 12_000),
    Phase(12, 22_000),
    Phase(30, 12_000),
    Phase(20, 12_000, pressure_counts=COUNTS_HIGH),
    Phase(30, 12_000),
    Phase(20, 12_000, pressure_counts=0),
    Phase(30, 12_000),
    Phase(20, 12_000, supply_counts=COUNTS_HIGH),
    Phase(30, 12_000),
    Phase(20, 12_000, supply_counts=3_000),
    Phase(30, 12_000),
)


def press_scenes() -> list[Scene]:
    """Run an invented press in closed loop: each feature at work.

    Returns
    -------
    list of Scene
    """
    ramped = {"RAMP_UP": 150 << 14, "RAMP_DOWN": 333_333, "RATE_UP": 800 << 14}
    limited = {"OUTPUT_HIGH": 4_000, "OUTPUT_LOW": -3_000, "P_GAIN": 16_000}
    conditional = {"CONDITIONAL": 1, "TRACK_GAIN": 0}
    fixed = {"SAFE_ACTION": 2, "SAFE_OUTPUT": -6_000, "RATE_DOWN": 500 << 14}
    pair = {"DRIVE_KIND": 1, "PULSE_TICKS": 3, "DEAD_TICKS": 4}
    cut = {"CUTOFF": 2_000, "CUTOFF_HYSTERESIS": 1_000, "REVERSE": 1}
    return [
        _press("fresh-block", {}, _STEPS),
        _press("tuned-proportional-drive", {**_TUNED, "DITHER": 900}, _STEPS),
        _press("tuned-valve-pair", {**_TUNED, **pair}, _STEPS),
        _press("dithered", {"DITHER": 2_500, "DITHER_TICKS": 3}, _STEPS[:2]),
        _press("ramps-and-rates", {**_TUNED, **ramped}, _STEPS),
        _press("reverse-with-cut-off", {**_TUNED, **cut}, (*_STEPS, Phase(40, 20_000))),
        _press("limited-tracking", {**_TUNED, **limited}, _STEPS),
        _press("limited-conditional", {**_TUNED, **limited, **conditional}, _STEPS),
        _press("compensated", {**_TUNED, **_COMPENSATED, **_GUARDED}, _sagging()),
        _press("fault-lowest", {**_TUNED, **_GUARDED}, _FAILURES),
        _press("fault-hold", {**_TUNED, **_GUARDED, "SAFE_ACTION": 1}, _FAILURES),
        _press("fault-fixed", {**_TUNED, **_GUARDED, **fixed}, _FAILURES),
        _press("modes", {**_TUNED, **ramped}, _modes(), resets=(0, 62, 150, 175)),
        _press("modes-valve-pair", {**_TUNED, **pair}, _modes(), resets=(0, 150, 175)),
    ]


def edge_scenes() -> list[Scene]:
    """Meet the edges of comparisons exactly, one word beside them, and beyond.

    Returns
    -------
    list of Scene
    """
    counted = {"PRESSURE_GAIN": 8_192, "PRESSURE_SHIFT": 13}
    banded = {"DEADBAND": 4, "DEADBAND_HYSTERESIS": 3, "I_GAIN": 5_000, "I_SHIFT": 13}
    around = [*range(-10, 11), *range(10, -11, -1), -7, -8, -4, 7, 8, 4, 0, 1]
    crossing = [Phase(1, 12_000, pressure_counts=12_500 + k) for k in around]
    held = {"P_GAIN": 0, "I_GAIN": 5_000, "I_SHIFT": 13, "CONDITIONAL": 1}
    held |= {"OUTPUT_LOW": -4_000, "OUTPUT_HIGH": 4_000}
    # A jump of the feed-forward limits the output against the error's sign.
    above = {f"HOLD_{k}": 20_000 if k > 3 else 0 for k in range(layout.HOLD_POINTS)}
    below = {f"HOLD_{k}": -20_000 if k < 8 else 0 for k in range(layout.HOLD_POINTS)}
    rising = [Phase(5, 4_000), Phase(5, 12_000, pressure_counts=20_000)]
    falling = [
        Phase(5, 20_000, pressure_counts=25_000),
        Phase(5, 12_000, pressure_counts=3_000),
    ]
    pair = {"DRIVE_KIND": 1, "PULSE_TICKS": 2, "DEAD_TICKS": 3}
    demands = (25_000, -25_000, 12_500, -12_500, 1, -1, 50, -25_000, 25_000, 0)
    pulses = [
        Phase(ticks, 12_000, MANUAL, demand) for ticks in (9, 2) for demand in demands
    ]
    small = [
        Phase(2, 12_000, mode, demand, 5_000 + 3_000 * mode)
        for demand in (*range(-2, 12), 9_001, 9_002, 20_003, 20_005)
        for mode in (AUTOMATIC, MANUAL)
    ]
    thin = {f"FLOW_{k}": k % 4 for k in range(layout.FLOW_POINTS)}
    beyond = {**_COMPENSATED, "HOLD_0": 25_000, "FLOW_16": 12_000}
    pressed = [
        Phase(1, 12_000, supply_counts=supply, pressure_counts=counts)
        for counts in range(0, 24_000, 1_500)
        for supply in (4_096, 9_000, COUNTS_HIGH)
    ]
    return [
        _press("deadband-edges", {**counted, **banded}, crossing),
        _press("conditional-rising", {**counted, **held, **above}, rising),
        _press("conditional-falling", {**counted, **held, **below}, falling),
        _press("pulse-edges", pair, pulses),
        _press("compensated-small-outputs", {**_COMPENSATED, "HOLD_6": 1}, small),
        _press("thin-flow", {**_COMPENSATED, **thin}, pressed),
        _press("pressure-beyond-supply", beyond, pressed),
    ]


def extreme_scenes() -> list[Scene]:
    """Put every word to an end of its range, and the inputs from end to end.

    Returns
    -------
    list of Scene
    """
    spans = [row[1] for row in layout.STATE[:INPUTS]]
    corners = [
        tuple(span[k >> slot & 1] for slot, span in enumerate(spans)) for k in range(32)
    ]
    lowest = array("i", [row[1][0] for row in layout.PARAMETERS])
    highest = array("i", [row[1][1] for row in layout.PARAMETERS])
    scenes = []
    for side, params in enumerate((lowest, highest)):
        for end in (0, 1):
            start = array("i", [row[1][end] for row in layout.STATE])
            name = f"extreme-{('low', 'high')[side]}-{('low', 'high')[end]}"
            scenes.append(Scene(name, params, start, corners, frozenset()))
    return scenes


def _sagging() -> Iterable[Phase]:
    supplies = (16_384, 20_000, 13_000, 9_000, 7_000, 5_000, 14_000)
    currents = cycle((18_000, 12_000))
    return [Phase(40, next(currents), supply_counts=supply) for supply in supplies]


def _modes() -> Iterable[Phase]:
    return (
        Phase(60, 12_000),
        Phase(30, 12_000, MANUAL, demand=9_000),
        Phase(30, 12_000, MANUAL, demand=-9_000),
        Phase(20, 12_000),
        Phase(30, 18_000, HOLD),
        Phase(20, 18_000, SAFE),
        Phase(60, 18_000),
        Phase(40, 8_000),
    )


def _press(
    name: str,
    settings: dict[str, int],
    phases: Iterable[Phase],
    resets: Iterable[int] = (0,),
) -> Scene:
    params = array("i", [row[2] for row in layout.PARAMETERS])
    for word, setting in settings.items():
        params[PARAMETER_SLOT[word]] = setting
    start = array("i", [row[1][0] for row in layout.STATE])
    state = array("i", start)
    inputs: list[tuple[int, ...]] = []
    pressure_counts = _START_COUNTS
    for phase in phases:
        for _ in range(phase.ticks):
            broken = phase.pressure_counts
            words = (
                phase.current_ua * 16_384 // 12_500,
                pressure_counts if broken is None else broken,
                phase.supply_counts,
                phase.mode,
                phase.demand,
            )
            if len(inputs) in resets:
                reset(state)
            inputs.append(words)
            state[:INPUTS] = array("i", words)
            tick(state, params)
            # Air bags: a sixteenth of the drive, in counts, and a small leak.
            moved = pressure_counts + state[STATE_SLOT["DRIVE"]] // 16 - 20
            pressure_counts = max(300, min(31_000, moved))
    return Scene(name, params, start, inputs, frozenset(resets))
