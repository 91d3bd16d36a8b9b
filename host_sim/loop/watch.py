"""What a response is worth, found while it runs: a plain function on numbers.

It keeps for each loop what `measure.step_metrics` reads from a whole record, so
that a million loops need no records. Progress is 0 at the level before the step and 1
at the level after it; times are in ticks since the step.
"""

from host_sim.plant.layout import LOAD, SOURCE

# Levels of a window: pressures before and after the step, the settle band as a
# share of the step, the tick from which its last tenth counts.
FROM_PA, TO_PA, BAND, TAIL = range(4)
LEVELS = 4

# Marks. Instead of a time: not yet, or passed already when the window began.
NEVER = -1.0
PAST = -2.0
MARKS = (
    "last",
    "before_last",
    "last_output",
    "reach_10",
    "reach_50",
    "reach_90",
    "highest",
    "peak",
    "entry_5",
    "entry_2",
    "entry_1",
    "entry_band",
    "absolute_error",
    "tail_sum",
    "tail_count",
    "travel",
    "output_low",
    "output_high",
    "direction",
    "reversals",
    "air_at_start",
    "air_now",
    "total",
)
(
    LAST,
    BEFORE_LAST,
    LAST_OUTPUT,
    REACH_10,
    REACH_50,
    REACH_90,
    HIGHEST,
    PEAK,
    ENTRY_5,
    ENTRY_2,
    ENTRY_1,
    ENTRY_BAND,
    ABSOLUTE_ERROR,
    TAIL_SUM,
    TAIL_COUNT,
    TRAVEL,
    OUTPUT_LOW,
    OUTPUT_HIGH,
    DIRECTION,
    REVERSALS,
    AIR_AT_START,
    AIR_NOW,
    TOTAL,
) = range(len(MARKS))

SWING = 0.005
"""An output swing larger than this counts; see `measure.effort`."""


def watch_pressure(
    n: int, view: list[float], levels: list[float], marks: list[float]
) -> None:
    """Take the pressure at the start of a tick into account.

    Parameters
    ----------
    n : int
        Ticks since the step.
    view : list of float
        See `host_sim.plant.layout`.
    levels, marks : list of float
        Levels of this window; what is known of it.
    """
    progress = (view[LOAD] - levels[FROM_PA]) / (levels[TO_PA] - levels[FROM_PA])
    if n == 0:
        start(progress, marks)
    else:
        last = marks[LAST]
        reach(n, progress, last, 0.1, REACH_10, marks)
        reach(n, progress, last, 0.5, REACH_50, marks)
        reach(n, progress, last, 0.9, REACH_90, marks)
        climb(n, progress, last, marks)
        enter(n, progress, last, 0.05, ENTRY_5, marks)
        enter(n, progress, last, 0.02, ENTRY_2, marks)
        enter(n, progress, last, 0.01, ENTRY_1, marks)
        enter(n, progress, last, levels[BAND], ENTRY_BAND, marks)
        marks[ABSOLUTE_ERROR] += area(last - 1.0, progress - 1.0)
    if n >= levels[TAIL]:
        marks[TAIL_SUM] += progress
        marks[TAIL_COUNT] += 1.0
    marks[BEFORE_LAST] = marks[LAST]
    marks[LAST] = progress
    marks[TOTAL] += progress


def watch_output(n: int, output: float, state: list[float], marks: list[float]) -> None:
    """Take the drive of a tick, and the air drawn before it, into account."""
    if n == 0:
        marks[LAST_OUTPUT] = output
        marks[OUTPUT_LOW] = output
        marks[OUTPUT_HIGH] = output
        marks[AIR_AT_START] = -state[SOURCE]
    marks[TRAVEL] += abs(output - marks[LAST_OUTPUT])
    swing(output, marks)
    marks[LAST_OUTPUT] = output
    marks[AIR_NOW] = -state[SOURCE]


def start(progress: float, marks: list[float]) -> None:
    """Begin a window."""
    for i in range(len(marks)):
        marks[i] = 0.0
    marks[LAST] = progress
    marks[HIGHEST] = progress
    marks[PEAK] = progress
    marks[REACH_10] = passed(progress, 0.1)
    marks[REACH_50] = passed(progress, 0.5)
    marks[REACH_90] = passed(progress, 0.9)


def passed(progress: float, level: float) -> float:
    """Tell when a level is reached, as far as the start of a window knows."""
    if progress == level:
        return 0.0
    return PAST if progress > level else NEVER


def reach(
    n: int, progress: float, last: float, level: float, mark: int, marks: list[float]
) -> None:
    """Note when a level is first reached, straight between two ticks."""
    if last < level <= progress and marks[mark] == NEVER:
        marks[mark] = n - 1.0 + (level - last) / (progress - last)


def climb(n: int, progress: float, last: float, marks: list[float]) -> None:
    """Follow the peak: the parabola through the highest tick's neighbours."""
    before = marks[BEFORE_LAST]
    if n > 1 and last == marks[HIGHEST] and before < last > progress:
        slope = 0.5 * (progress - before)
        bend = progress - last - (last - before)
        marks[PEAK] = last - slope * slope / (2.0 * bend)
    if progress > marks[HIGHEST]:
        marks[HIGHEST] = progress
        marks[PEAK] = progress


def enter(
    n: int, progress: float, last: float, band: float, mark: int, marks: list[float]
) -> None:
    """Note when the pressure last came into a band about its level."""
    was, now = last - 1.0, progress - 1.0
    if abs(now) > band:
        marks[mark] = NEVER
    elif abs(was) > band:
        edge = band if was > 0.0 else -band
        marks[mark] = n - 1.0 + (edge - was) / (now - was)


def area(first: float, second: float) -> float:
    """Area under the size of a straight line over one tick."""
    size = abs(first) + abs(second)
    if first * second < 0.0:
        return (first * first + second * second) / (2.0 * size)
    return 0.5 * size


def swing(output: float, marks: list[float]) -> None:
    """Count the output's changes of direction; see `measure.effort`."""
    low = min(marks[OUTPUT_LOW], output)
    high = max(marks[OUTPUT_HIGH], output)
    if marks[DIRECTION] <= 0.0 and output - low > SWING:
        marks[REVERSALS] -= marks[DIRECTION]
        marks[DIRECTION] = 1.0
        high = output
    elif marks[DIRECTION] >= 0.0 and high - output > SWING:
        marks[REVERSALS] += marks[DIRECTION]
        marks[DIRECTION] = -1.0
        low = output
    marks[OUTPUT_LOW] = low
    marks[OUTPUT_HIGH] = high
