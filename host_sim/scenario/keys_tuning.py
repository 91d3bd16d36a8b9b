"""The keys of a scenario file that tuning reads: the family and the limits."""

from host_sim.scenario.schema import Key, Table

TEMPERATURES = "200 ... 400 K"
SPREADS = "0 ... 90 %"

TUNING = (
    Table(
        "family",
        "The machines that one tuning must serve; spreads are either side.",
        (
            Key("members", "whole", 200, "machines drawn", "2 ... 10000"),
            Key("seed", "whole", 1, "of the draw", "0 ... 1000000"),
            Key("supply", "ratio", "10 %", "spread of the supply, of gauge", SPREADS),
            Key("load_volume", "ratio", "25 %", "spread of the load volume", SPREADS),
            Key("sensor_lag", "ratio", "50 %", "spread of the sensor's lag", SPREADS),
            Key("hysteresis", "ratio", "50 %", "spread of the hysteresis", SPREADS),
            Key(
                "temperature_low",
                "temperature",
                "5 degC",
                "coldest air and walls",
                TEMPERATURES,
            ),
            Key(
                "temperature_high",
                "temperature",
                "45 degC",
                "hottest air and walls",
                TEMPERATURES,
            ),
        ),
    ),
    Table(
        "limits",
        "What no tuning may exceed, on any machine of the family.",
        (
            Key("overshoot", "ratio", "5 %", "of the step", "0.1 ... 100 %"),
            Key("ms", "ratio", "2", "peak of the sensitivity", "1.1 ... 10"),
            Key("travel", "ratio", "6", "strokes of the output a step", "0.1 ... 1e6"),
        ),
    ),
)
