"""The keys of a scenario file that say what a machine is sized for."""

from host_sim.scenario.schema import REQUIRED, Choices, Key, Same, Table

MEDIA = ("clean air", "oil mist", "ozone", "solvent vapour")
TIMES = "0.005 ... 3600 s"
PRESSURES = "0 ... 50 bar absolute"
TEMPERATURES = "200 ... 400 K"

WANTED = (
    Table(
        "wanted",
        "What sizing and selection aim at.",
        (
            Key("fill_time", "time", REQUIRED, "from start to end, valve open", TIMES),
            Key(
                "vent_time", "time", REQUIRED, "from end to start, exhaust open", TIMES
            ),
            Key(
                "start",
                "pressure",
                Same("range.low"),
                "load before it is filled",
                PRESSURES,
            ),
            Key(
                "end",
                "pressure",
                Same("range.high"),
                "load before it is vented",
                PRESSURES,
            ),
            Key(
                "within",
                "ratio",
                "2 %",
                "share of the change that may be missing at the wanted time",
                "0 ... 20 %",
            ),
            Key(
                "flow_drop",
                "pressure difference",
                "1 bar",
                "drop below the supply at which forward flows are stated",
                "0.01 ... 20 bar",
            ),
            Key(
                "temperature_low",
                "temperature",
                Same("air.ambient_temperature"),
                "coldest that seals must stand",
                TEMPERATURES,
            ),
            Key(
                "temperature_high",
                "temperature",
                Same("air.ambient_temperature"),
                "hottest that seals must stand",
                TEMPERATURES,
            ),
            Key(
                "medium",
                Choices(MEDIA),
                MEDIA[0],
                "hardest on seals of what they meet",
            ),
            Key("port", "text", None, "thread a unit must have; missing: any"),
        ),
        optional=True,
    ),
)
