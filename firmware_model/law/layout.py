"""Every word of the law: its slot, its range, its meaning.

One table for state, one for parameters; a word's slot is its place in the
table. Validator, proof, packer and documents read these tables. The stages
repeat only the slots that they use, as private constants, because MicroPython
folds a constant within one module only; a test compares them with this file.

Formats: a signal has 25 000 for 100 %, clamped to -5 ... 110 %. A gain is
``mantissa / 2**shift``, both in consecutive words. ``q12`` and ``q14`` have
4096 and 16384 for one. A rest is the remainder that a division by ``2**shift``
left, in units of ``2**-shift``.
"""

FULL = 25_000
SIGNAL = (-1_250, 27_500)
SPREAD = (-28_750, 28_750)
OUTPUT = (-25_000, 25_000)
TERM = (-100_000, 100_000)
COUNTS = (0, 32_767)
LIMIT = (-1, 32_768)
MANTISSA = (0, 16_383)
SHIFT = (1, 29)
REST = (-(2**28), 2**28)
FLAG = (0, 1)
OFFSET = (-262_144, 262_144)
TICKS = (1, 2**20)
SETPOINT_RATE = (1, 28_750 << 14)
OUTPUT_RATE = (1, 50_000 << 14)

# name, (lowest, highest), meaning
STATE = (
    ("CURRENT_COUNTS", COUNTS, "input: converter counts of the command current"),
    ("PRESSURE_COUNTS", COUNTS, "input: converter counts of the pressure"),
    ("SUPPLY_COUNTS", COUNTS, "input: converter counts of the supply pressure"),
    ("MODE", (0, 3), "input: 0 automatic, 1 manual, 2 hold, 3 safe output"),
    ("DEMAND", OUTPUT, "manual output; follows OUTPUT outside manual"),
    ("FRESH", FLAG, "the next tick starts from the present measurement"),
    (
        "TICKS",
        (0, 2**26 - 1),
        "ticks since reset, wrapping: the watchdog's proof of life",
    ),
    (
        "FAULTS",
        (0, 15),
        "bits: 1 current, 2 pressure sensor, 4 supply sensor, 8 no supply",
    ),
    ("CURRENT_TIMER", (0, 2**20), "ticks of suspicion against the current"),
    ("PRESSURE_TIMER", (0, 2**20), "ticks of suspicion against the pressure sensor"),
    ("SUPPLY_TIMER", (0, 2**20), "ticks of suspicion against the supply sensor"),
    ("LOST_TIMER", (0, 2**20), "ticks of suspicion that the supply is lost"),
    ("CURRENT", (0, 25_000), "command current in microamperes"),
    ("TARGET", SIGNAL, "set point asked for by the current"),
    ("CUT", FLAG, "low cut-off is on"),
    ("SETPOINT", SIGNAL, "set point after the ramp"),
    ("RAMP_REST", (0, 2**14 - 1), "rest of the ramp, q14"),
    ("PRESSURE", SIGNAL, "measured pressure after calibration and filter"),
    ("PRESSURE_REST", REST, "rest of the pressure filter"),
    ("MOVEMENT", SPREAD, "change of PRESSURE in this tick"),
    ("SUPPLY", COUNTS, "absolute supply pressure, q14 of the reference supply"),
    ("SUPPLY_REST", REST, "rest of the supply filter"),
    ("COMPENSATION", (2_048, 16_384), "factor on a filling output, q12"),
    ("INSIDE", (0, 1_000), "ticks inside the deadband, up to DWELL; 0 outside"),
    ("ERROR", SPREAD, "set point minus pressure, deadband taken off"),
    ("PROPORTIONAL", TERM, "proportional term"),
    ("WASHOUT", SPREAD, "high-passed pressure: what the derivative sees"),
    ("WASHOUT_REST", REST, "rest of the high-pass"),
    ("DERIVATIVE", TERM, "derivative term"),
    ("FEEDFORWARD", OUTPUT, "static feed-forward: output that holds the set point"),
    ("INTEGRAL", (-300_000, 300_000), "integral term"),
    ("INTEGRAL_REST", REST, "rest of the integration of the error"),
    ("TRACK_REST", REST, "rest of the anti-windup correction"),
    ("REQUEST", (-50_000, 50_000), "sum of the terms"),
    ("WANTED", (-200_000, 200_000), "output wanted before limits"),
    (
        "ACTIVE",
        (0, 5),
        "0 automatic, 1 manual, 2 hold, 3 fault, 4 start, 5 shut by cut-off",
    ),
    ("OUTPUT", OUTPUT, "output after limits and rate"),
    ("RATE_REST", (0, 2**14 - 1), "rest of the output rate, q14"),
    ("DRIVE", OUTPUT, "what the valves get in this tick: > 0 fills, < 0 vents"),
    ("PHASE", (0, 2**16), "ticks since the dither or the pulse began"),
    ("CHARGE", (-(2**28), 2**28), "valve pair: output owed, in output ticks"),
    (
        "IDLE",
        (-1_024, 1_024),
        "valve pair: dead ticks left, sign of the valve just shut",
    ),
)

FLOW_POINTS = 17
HOLD_POINTS = 15

# name, (lowest, highest), value of a fresh block, meaning
_INPUTS = (
    ("CURRENT_GAIN", MANTISSA, 12_500, "microamperes a count: mantissa"),
    ("CURRENT_SHIFT", SHIFT, 14, "microamperes a count: shift"),
    ("CURRENT_OFFSET", OFFSET, 0, "microamperes at zero counts"),
    ("CURRENT_LOW", (0, 25_000), 3_600, "fault at or below, microamperes"),
    ("CURRENT_HIGH", (0, 25_000), 21_000, "fault at or above, microamperes"),
    ("CURRENT_PATIENCE", TICKS, 400, "ticks until a bad current is a fault"),
    ("RANGE_START", (0, 25_000), 4_000, "current of 0 %, microamperes"),
    ("RANGE_GAIN", MANTISSA, 12_800, "set point a microampere: mantissa"),
    ("RANGE_SHIFT", SHIFT, 13, "set point a microampere: shift"),
    ("REVERSE", FLAG, 0, "1: more current asks for less pressure"),
    ("SETPOINT_LOW", SIGNAL, 0, "lowest set point"),
    ("SETPOINT_HIGH", SIGNAL, 25_000, "highest set point"),
    ("CUTOFF", SIGNAL, -1_250, "set points below vent fully"),
    ("CUTOFF_HYSTERESIS", (0, 25_000), 0, "above CUTOFF, to end the cut-off"),
    ("RAMP_UP", SETPOINT_RATE, 28_750 << 14, "rising set point, q14 a tick"),
    ("RAMP_DOWN", SETPOINT_RATE, 28_750 << 14, "falling set point, q14 a tick"),
    ("PRESSURE_LOW", LIMIT, -1, "sensor fault at or below, counts"),
    ("PRESSURE_HIGH", LIMIT, 32_768, "sensor fault at or above, counts"),
    ("SENSOR_PATIENCE", TICKS, 10, "ticks until a bad sensor is a fault"),
    ("PRESSURE_GAIN", MANTISSA, 12_500, "pressure a count: mantissa"),
    ("PRESSURE_SHIFT", SHIFT, 14, "pressure a count: shift"),
    ("PRESSURE_OFFSET", OFFSET, 0, "pressure at zero counts"),
    ("FILTER_GAIN", MANTISSA, 8_192, "share of the new pressure: mantissa"),
    ("FILTER_SHIFT", SHIFT, 13, "share of the new pressure: shift"),
    ("SUPPLY_LOW", LIMIT, -1, "supply sensor fault at or below, counts"),
    ("SUPPLY_HIGH", LIMIT, 32_768, "supply sensor fault at or above, counts"),
    ("SUPPLY_GAIN", MANTISSA, 8_192, "supply q14 a count: mantissa"),
    ("SUPPLY_SHIFT", SHIFT, 13, "supply q14 a count: shift"),
    ("SUPPLY_OFFSET", OFFSET, 0, "supply q14 at zero counts"),
    ("SUPPLY_FILTER_GAIN", MANTISSA, 8_192, "share of the new supply: mantissa"),
    ("SUPPLY_FILTER_SHIFT", SHIFT, 13, "share of the new supply: shift"),
    ("SUPPLY_LOST", COUNTS, 0, "supply lost below, q14 of the reference"),
    (
        "ABSOLUTE_GAIN",
        MANTISSA,
        8_192,
        "q14 of the reference supply a signal: mantissa",
    ),
    ("ABSOLUTE_SHIFT", SHIFT, 14, "q14 of the reference supply a signal: shift"),
    (
        "ABSOLUTE_OFFSET",
        COUNTS,
        2_048,
        "absolute pressure at 0 %, q14 of the reference",
    ),
    ("STRENGTH", (0, 4_096), 0, "strength of the supply compensation, q12"),
)
_FLOW = tuple(
    ("FLOW_%d" % k, (0, 16_384), 16_384, "flow function at ratio %d/16, q14" % k)
    for k in range(FLOW_POINTS)
)
_HOLD = tuple(
    ("HOLD_%d" % k, OUTPUT, 0, "output that holds the set point %d x 2048" % k)
    for k in range(HOLD_POINTS)
)
_CONTROL = (
    ("DEADBAND", (0, 25_000), 0, "errors up to here count as zero"),
    ("DEADBAND_HYSTERESIS", (0, 25_000), 0, "beyond DEADBAND, to act again"),
    ("DWELL", (1, 1_000), 1, "ticks inside until the derivative rests"),
    ("P_GAIN", MANTISSA, 8_192, "proportional gain: mantissa"),
    ("P_SHIFT", SHIFT, 13, "proportional gain: shift"),
    (
        "WEIGHT",
        (0, 4_096),
        4_096,
        "set point's share in the proportional term, q12",
    ),
    ("D_GAIN", MANTISSA, 0, "derivative gain: mantissa"),
    ("D_SHIFT", SHIFT, 1, "derivative gain: shift"),
    ("LEAK_GAIN", MANTISSA, 8_192, "share that the high-pass loses a tick: mantissa"),
    ("LEAK_SHIFT", SHIFT, 13, "share that the high-pass loses a tick: shift"),
    ("I_GAIN", MANTISSA, 0, "integral gain a tick: mantissa"),
    ("I_SHIFT", SHIFT, 1, "integral gain a tick: shift"),
    ("TRACK_GAIN", MANTISSA, 0, "anti-windup gain a tick: mantissa"),
    ("TRACK_SHIFT", SHIFT, 1, "anti-windup gain a tick: shift"),
    ("CONDITIONAL", FLAG, 0, "1: a limited output stops outward integration"),
    ("OUTPUT_LOW", OUTPUT, -25_000, "lowest output"),
    ("OUTPUT_HIGH", OUTPUT, 25_000, "highest output"),
    ("RATE_UP", OUTPUT_RATE, 50_000 << 14, "rising output, q14 a tick"),
    ("RATE_DOWN", OUTPUT_RATE, 50_000 << 14, "falling output, q14 a tick"),
    ("SAFE_ACTION", (0, 2), 0, "output in a fault: 0 lowest, 1 hold, 2 fixed"),
    ("SAFE_OUTPUT", OUTPUT, 0, "the fixed output in a fault"),
    ("DRIVE_KIND", FLAG, 0, "0 proportional, 1 valve pair"),
    ("DITHER", (0, 2_500), 0, "dither amplitude"),
    ("DITHER_TICKS", (1, 2**15), 1, "half period of the dither, ticks"),
    ("PULSE_TICKS", (1, 1_024), 1, "shortest pulse of a valve, ticks"),
    ("DEAD_TICKS", (0, 1_024), 0, "both shut between different valves, ticks"),
)
PARAMETERS = _INPUTS + _FLOW + _HOLD + _CONTROL

# Words that a sane block keeps in this order; the law stays within its ranges
# without, but a clamp upside down serves nobody.
ORDERED = (
    ("CURRENT_LOW", "CURRENT_HIGH"),
    ("SETPOINT_LOW", "SETPOINT_HIGH"),
    ("PRESSURE_LOW", "PRESSURE_HIGH"),
    ("SUPPLY_LOW", "SUPPLY_HIGH"),
    ("OUTPUT_LOW", "OUTPUT_HIGH"),
)
