"""The words around the law: what a device has beside what the law reads.

They stand behind the law's own words in the same two arrays, so that the law's
slots stay as they are, a stage of the device looks like a stage of the law, and
one block, one store and one proof cover both. Formats as in `law.layout`.
"""

from firmware_model.law.layout import COUNTS, FLAG, FULL, PARAMETERS, STATE, TICKS

TIMER = (0, 2**20)
FAULT_BITS = (0, 2**11 - 1)
CRC = (0, 2**16 - 1)

# name, (lowest, highest), value of a fresh block, meaning
SUPERVISOR = (
    ("START_TICKS", TICKS, 50, "good ticks until start-up ends"),
    ("START_WISH", (0, 2), 0, "mode wanted after start-up"),
    ("CLEAR_TICKS", TICKS, 100, "good ticks until a fault is over"),
    ("RANGE_TICKS", TICKS, 100, "ticks at the upper end: out of range"),
    ("STUCK_COUNTS", COUNTS, 0, "movement up to here counts as none"),
    ("STUCK_TICKS", TICKS, 1_000, "ticks without movement: sensor stuck"),
    ("APART", (0, FULL), 1_250, "set point and pressure agree within"),
    ("APART_TICKS", TICKS, 3_000, "ticks apart: output stuck"),
    ("LATE_LIMIT", (1, 1_000), 3, "late ticks, weighed: a fault"),
    ("LATE_TICKS", (1, 1_000), 100, "ticks on time that outweigh a late one"),
    ("LAMP_TICKS", (1, 1_000), 25, "ticks of one blink"),
    ("KEY_LOCK", FLAG, 0, "1: keys show and change nothing"),
)

# What self-tuning may do, in the block so that it survives a restart.
TUNING = (
    ("RELAY_SIZE", (250, FULL), 5_000, "relay: output to either side of the middle"),
    ("RELAY_BAND", (0, 5_000), 125, "relay: error that switches it"),
    ("RELAY_TRAVEL", (250, FULL), 5_000, "relay: largest error before it gives up"),
    ("RELAY_TICKS", TICKS, 12_000, "relay: ticks until it gives up"),
    ("RELAY_CYCLES", (2, 20), 4, "relay: equal cycles that are averaged"),
    ("RELAY_RULE", (0, 4), 0, "relay: rule for the gains, by its row"),
    ("RELAY_SAFETY", (410, 4_096), 4_096, "relay: share of the rule's gain, q12"),
)

DEVICE_PARAMETERS = PARAMETERS + SUPERVISOR + TUNING

# name, (lowest, highest), meaning
SUPERVISOR_STATE = (
    ("LATE", (0, 1_000), "input: ticks late or missed since the last one"),
    ("WISH", (0, 2), "input: mode wanted: 0 automatic, 1 manual, 2 hold"),
    ("CHANGING", (0, 2), "input: 1 parameters are being changed, 2 they are changed"),
    ("CONFIRM", FLAG, "input: 1 ends faults that wait for a person"),
    ("BLOCK_BAD", FLAG, "input: 1 no stored block was usable"),
    ("CONDITION", (0, 3), "0 start-up, 1 running, 2 fault, 3 runs from the next tick"),
    ("PRESENT", FAULT_BITS, "bits of the faults that are seen now"),
    ("HELD", FAULT_BITS, "bits of the faults that still count"),
    ("FIRST", (0, 11), "number of the fault that came first, 0 none"),
    ("START_TIMER", TIMER, "good ticks since start-up began"),
    ("CLEAR_TIMER", TIMER, "good ticks since the last fault"),
    ("RANGE_TIMER", TIMER, "ticks with the pressure at its upper end"),
    ("STUCK_TIMER", TIMER, "ticks in which the pressure should have moved"),
    ("APART_TIMER", TIMER, "ticks with set point and pressure apart"),
    ("LATE_WEIGHT", TIMER, "weight of late ticks"),
    ("REST_COUNTS", COUNTS, "pressure counts from which movement counts"),
    ("CHECK_SLOT", (0, len(DEVICE_PARAMETERS) - 1), "parameter that is checked next"),
    ("CHECK", CRC, "CRC-16 of the parameters before it"),
    ("CHECK_WANTED", CRC, "CRC-16 that all parameters must have"),
    ("CHECK_BAD", FLAG, "the last whole check failed"),
    ("LAMP", FLAG, "output: the indicator lamp"),
    ("LAMP_TICK", (0, 2**20), "ticks since the lamp's pattern began"),
)

DEVICE_STATE = STATE + SUPERVISOR_STATE
