"""Every fault: what is seen, how soon, what the output does, and the way back.

One table, read by the supervisor, the tests, console, display and documents. A
fault that stops brings the safe output, which SAFE_ACTION chooses: the lowest
output, the last one, or a fixed one. One that does not stop is shown only.
"""

LABEL = 0
SEEN = 1
TICKS_WORD = 2
STOPS = 3
WAITS = 4

# What the display shows, what is seen, the parameter that says for how many ticks,
# 1: the output goes to its safe value, 1: a person must confirm before it ends.
# A fault's bit is 2 to the power of its row.
FAULTS = (
    ("CURRENT LOW", "command at or below CURRENT_LOW", "CURRENT_PATIENCE", 1, 0),
    ("CURRENT HIGH", "command at or above CURRENT_HIGH", "CURRENT_PATIENCE", 1, 0),
    (
        "SENSOR OPEN",
        "counts at or below PRESSURE_LOW",
        "SENSOR_PATIENCE",
        1,
        0,
    ),
    (
        "SENSOR SHORT",
        "counts at or above PRESSURE_HIGH",
        "SENSOR_PATIENCE",
        1,
        0,
    ),
    ("PRESSURE HIGH", "pressure at 110 % or above", "RANGE_TICKS", 1, 0),
    ("SENSOR STUCK", "set point and pressure apart, counts still", "STUCK_TICKS", 1, 1),
    ("OUTPUT STUCK", "set point and pressure apart", "APART_TICKS", 1, 1),
    ("SUPPLY SENSOR", "supply counts beyond their limits", "SENSOR_PATIENCE", 0, 0),
    ("SUPPLY LOST", "supply below SUPPLY_LOST", "SENSOR_PATIENCE", 1, 0),
    ("LATE TICKS", "ticks late or missed", "LATE_LIMIT", 1, 1),
    ("PARAMETERS", "no usable block, or words that changed by themselves", "", 1, 1),
)


def bits_of(column: int) -> int:
    """Collect the bits of the faults whose flag in a column is set.

    >>> bits_of(STOPS), bits_of(WAITS)
    (1919, 1632)
    """
    bits = 0
    for row, fault in enumerate(FAULTS):
        if fault[column]:
            bits |= 1 << row
    return bits
