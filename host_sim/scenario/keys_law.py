"""The keys of a scenario file that describe the run and the control law."""

from host_sim.scenario.keys_plant import PRESSURES
from host_sim.scenario.schema import REQUIRED, Choices, Key, Pairs, Table

WORD_NONE = ("none",)
UNLIMITED = "0.001 ... 100000 %/s"


RUN = (
    Table(
        "",
        "What the file is.",
        (Key("title", "text", REQUIRED, "name of the machine"),),
    ),
    Table(
        "run",
        "The run and its clock.",
        (
            Key("duration", "time", REQUIRED, "length of the run", "0.01 ... 100000 s"),
            Key(
                "tick", "time", REQUIRED, "sampling time of the law", "0.1 ... 1000 ms"
            ),
            Key(
                "compute_delay_ticks",
                "whole",
                0,
                "ticks from measuring to acting",
                "0 ... 1",
            ),
            Key("settle_band", "ratio", "2 %", "band of settling", "0.01 ... 20 %"),
            Key("seed", "whole", 0, "seed of the noise", "0 ... 2147483647"),
        ),
    ),
    Table(
        "display",
        "Units of tables and figures.",
        (
            Key("pressure", "text", "bar gauge", "unit of pressures"),
            Key("flow", "text", "l/min ANR", "unit of flows"),
        ),
    ),
    Table(
        "profile",
        "The current command: steps, or a recording.",
        (
            Key(
                "steps",
                Pairs("time", "current"),
                None,
                "current from that time on; the first at 0 s",
                "0 ... 25 mA",
            ),
            Key("recording", "text", None, "CSV file, relative to this file"),
        ),
    ),
    Table(
        "range",
        "The controlled pressure: 0 % and 100 %.",
        (
            Key("low", "pressure", REQUIRED, "pressure at 0 %", PRESSURES),
            Key("high", "pressure", REQUIRED, "pressure at 100 %", PRESSURES),
        ),
    ),
)


def _forms(path: str, meaning: str) -> tuple[Table, ...]:
    ideal = (
        Key("kc", "ratio", REQUIRED, "gain, output % per pressure %", "0 ... 1000"),
        Key(
            "ti", "time", "none", "integral time", "0.001 ... 100000 s", words=WORD_NONE
        ),
        Key("td", "time", "0 s", "derivative time", "0 ... 1000 s"),
    )
    parallel = (
        Key("kp", "ratio", REQUIRED, "proportional gain", "0 ... 1000"),
        Key("ki", "rate", "0 1/s", "integral gain", "0 ... 100000 1/s"),
        Key("kd", "time", "0 s", "derivative gain", "0 ... 1000 s"),
    )
    return (
        Table(
            f"{path}.ideal",
            f"{meaning} kc (e + integral(e)/ti + td de/dt).",
            ideal,
            True,
        ),
        Table(
            f"{path}.parallel",
            f"{meaning} kp e + ki integral(e) + kd de/dt.",
            parallel,
            True,
        ),
    )


LAW = (
    Table(
        "command",
        "The current loop.",
        (
            Key("start", "current", "4 mA", "current that asks for 0 %", "0 ... 25 mA"),
            Key(
                "end", "current", "20 mA", "current that asks for 100 %", "0 ... 25 mA"
            ),
            Key("reverse", "flag", False, "more current asks for less pressure"),
            Key("low_fault", "current", "3.6 mA", "fault at or below", "0 ... 25 mA"),
            Key("high_fault", "current", "21 mA", "fault at or above", "0 ... 25 mA"),
            Key("patience", "time", "4 s", "time until a fault counts", "0 ... 60 s"),
            Key("setpoint_low", "share", "0 %", "lowest set point", "0 ... 100 %"),
            Key("setpoint_high", "share", "100 %", "highest set point", "0 ... 100 %"),
            Key(
                "cutoff",
                "share",
                "none",
                "set points below vent fully",
                "0 ... 50 %",
                WORD_NONE,
            ),
            Key(
                "cutoff_hysteresis",
                "share",
                "0.5 %",
                "above the cut-off, to come back",
                "0 ... 20 %",
            ),
            Key(
                "ramp_up",
                "share rate",
                "none",
                "fastest rise of the set point",
                UNLIMITED,
                WORD_NONE,
            ),
            Key(
                "ramp_down",
                "share rate",
                "none",
                "fastest fall of the set point",
                UNLIMITED,
                WORD_NONE,
            ),
        ),
    ),
    Table(
        "measurement",
        "What the law does with the measured pressure.",
        (
            Key("filter", "time", "0 s", "first-order filter", "0 ... 100 s"),
            Key("valid_low", "ratio", "0 %", "lowest sound counts", "0 ... 100 %"),
            Key("valid_high", "ratio", "100 %", "highest sound counts", "0 ... 100 %"),
            Key("patience", "time", "0.1 s", "time until a fault counts", "0 ... 60 s"),
        ),
    ),
    Table(
        "supply_compensation",
        "Correction of the output by the measured supply.",
        (
            Key("strength", "ratio", "0 %", "0 % off, 100 % full", "0 ... 100 %"),
            Key(
                "critical_ratio",
                "ratio",
                None,
                "b that the law assumes; missing: that of the filling valve",
                "0 ... 0.99",
            ),
            Key(
                "index",
                "ratio",
                None,
                "m that the law assumes; missing: that of the filling valve",
                "0.1 ... 1",
            ),
            Key("filter", "time", "0 s", "first-order filter", "0 ... 100 s"),
            Key("valid_low", "ratio", "0 %", "lowest sound counts", "0 ... 100 %"),
            Key("valid_high", "ratio", "100 %", "highest sound counts", "0 ... 100 %"),
            Key(
                "lost",
                "pressure",
                "none",
                "supply counts as lost below",
                PRESSURES,
                WORD_NONE,
            ),
        ),
    ),
    Table(
        "controller",
        "The PID controller, beside its gains.",
        (
            Key("weight", "ratio", "1", "set-point weight", "0 ... 1"),
            Key(
                "derivative_filter",
                "time",
                None,
                "lag on the derivative; missing: by the divisor",
                "0 ... 100 s",
            ),
            Key(
                "derivative_divisor",
                "ratio",
                None,
                "derivative time over its lag; missing: 10",
                "1 ... 100",
            ),
            Key(
                "tracking",
                "time",
                None,
                "anti-windup time; missing: sqrt(ti td), without derivative ti / 2, "
                "if conditional none",
                "0.0001 ... 100000 s",
                WORD_NONE,
            ),
            Key("conditional", "flag", False, "stop integrating at a limit"),
            Key("deadband", "share", "0 %", "errors that count as zero", "0 ... 20 %"),
            Key(
                "deadband_hysteresis",
                "share",
                "0 %",
                "beyond the deadband, to act again",
                "0 ... 20 %",
            ),
            Key(
                "dwell",
                "time",
                "0.1 s",
                "time inside the deadband until the derivative rests",
                "0 ... 10 s",
            ),
            Key(
                "hold",
                Pairs("share", "ratio"),
                None,
                "[set point, output] feed-forward, linear between; empty: none",
                "-100 ... 100 %",
                WORD_NONE,
            ),
        ),
    ),
    *_forms("controller", "The gains"),
    *_forms("gain_sets.*", "A set to compare with: gains"),
    Table(
        "output",
        "Limits of the output.",
        (
            Key("low", "ratio", "-100 %", "lowest output", "-100 ... 100 %"),
            Key("high", "ratio", "100 %", "highest output", "-100 ... 100 %"),
            Key("rise", "rate", "none", "fastest rise", UNLIMITED, WORD_NONE),
            Key("fall", "rate", "none", "fastest fall", UNLIMITED, WORD_NONE),
            Key(
                "safe_action",
                Choices(("vent", "hold", "fixed")),
                "vent",
                "output after a fault",
            ),
            Key("safe_output", "ratio", "0 %", 'output of "fixed"', "-100 ... 100 %"),
        ),
    ),
    Table(
        "drive.proportional",
        "The output as it is, with dither.",
        (
            Key("dither", "ratio", "0 %", "amplitude of the square", "0 ... 20 %"),
            Key(
                "half_period",
                "time",
                "none",
                "half period of the square",
                "0.0001 ... 10 s",
                WORD_NONE,
            ),
        ),
        optional=True,
    ),
    Table(
        "drive.valve_pair",
        "Pulsed fill and exhaust valves.",
        (
            Key("minimum_on", "time", "0 s", "shortest pulse", "0 ... 1 s"),
            Key("dead_time", "time", "0 s", "both shut between", "0 ... 1 s"),
        ),
        optional=True,
    ),
)
