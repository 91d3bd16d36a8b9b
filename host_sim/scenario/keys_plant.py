"""The keys of a scenario file that describe the air, the machine and its sensors."""

from dataclasses import replace

from host_sim.scenario.schema import REQUIRED, Choices, Key, Pairs, Same, Table

PRESSURES = "0 ... 50 bar absolute"
THERMALS = Choices(("isothermal", "polytropic", "adiabatic", "wall"))


def _volume(start: str = "air.atmosphere") -> tuple[Key, ...]:
    return (
        Key("volume", "volume", REQUIRED, "inner volume", "1e-7 ... 1000 m3"),
        Key("start", "pressure", Same(start), "pressure at time 0", PRESSURES),
        Key("thermal", THERMALS, Same("air.thermal"), "heat model"),
        Key(
            "exponent",
            "ratio",
            Same("air.exponent"),
            'exponent of "polytropic"',
            "1 ... 1.67",
        ),
        Key(
            "wall_conductance",
            "heat conductance",
            "0 W/K",
            'heat flow to the wall of "wall"',
            "0 ... 1e6 W/K",
        ),
        Key(
            "wall_temperature",
            "temperature",
            Same("air.ambient_temperature"),
            "wall, and air at time 0",
            "200 ... 400 K",
        ),
    )


RESTRICTION = (
    Key(
        "conductance",
        "conductance",
        REQUIRED,
        "sonic conductance C of ISO 6358",
        "1e-6 ... 1000 dm3/(s.bar)",
    ),
    Key("critical_ratio", "ratio", "0.3", "critical pressure ratio b", "0 ... 0.99"),
    Key("index", "ratio", "0.5", "subsonic index m", "0.1 ... 1"),
)

TUBE = (
    replace(
        RESTRICTION[0],
        default=None,
        meaning=RESTRICTION[0].meaning + "; or write length and inner_diameter",
    ),
    *RESTRICTION[1:],
    Key(
        "length",
        "length",
        None,
        "in place of C and b, which then follow from length and inner_diameter of a "
        "smooth tube without narrower fittings; its air belongs to the volumes",
        "0.01 ... 500 m",
    ),
    Key("inner_diameter", "length", None, "bore, beside length", "0.5 ... 200 mm"),
)


def _lags(noise: str, rate: str, allowed_noise: str, allowed_rate: str) -> list[Key]:
    unit = allowed_noise.rsplit(" ", 1)[1]
    per = allowed_rate.rsplit(" ", 1)[1]
    return [
        Key("bits", "whole", 12, "converter's bits", "1 ... 15", ("ideal",)),
        Key("noise", noise, f"0 {unit}", "standard deviation", allowed_noise),
        Key("lag", "time", "0 s", "first-order lag", "0 ... 100 s"),
        Key("delay", "time", "0 s", "transport delay", "0 ... 10 s"),
        Key("drift", rate, f"0 {per}", "steady drift", allowed_rate),
    ]


def _pressure_sensor() -> tuple[Key, ...]:
    return (
        Key("low", "pressure", REQUIRED, "pressure at 0 counts", PRESSURES),
        Key("high", "pressure", REQUIRED, "pressure at full counts", PRESSURES),
        *_lags(
            "pressure difference",
            "pressure rate",
            "0 ... 1 bar",
            "-1 ... 1 bar/s",
        ),
    )


PLANT = (
    Table(
        "plant",
        "How the machine is built.",
        (
            Key(
                "arrangement",
                Choices(("direct", "chain")),
                REQUIRED,
                "one valve, or pilot and booster",
            ),
        ),
    ),
    Table(
        "supply",
        "The compressed-air source.",
        (
            Key("pressure", "pressure", REQUIRED, "pressure at time 0", PRESSURES),
            Key(
                "changes",
                Pairs("time", "pressure"),
                None,
                "source pressure from that time on; empty: constant",
                PRESSURES,
            ),
            Key("ripple", "pressure difference", "0 bar", "amplitude", "0 ... 5 bar"),
            Key("ripple_frequency", "frequency", "0 Hz", "of the sine", "0 ... 100 Hz"),
        ),
    ),
    Table("supply.line", "Line to the supply volume.", TUBE, optional=True),
    Table(
        "supply.volume",
        "Air at the valve's inlet.",
        _volume("supply.pressure"),
        optional=True,
    ),
    Table(
        "valve",
        "Signed proportional valve.",
        (
            Key("lag", "time", "0 s", "first-order lag", "0 ... 10 s"),
            Key("hysteresis", "ratio", "0 %", "full width of the play", "0 ... 50 %"),
        ),
        arrangement="direct",
    ),
    Table("valve.fill", "Filling path.", RESTRICTION, arrangement="direct"),
    Table("valve.exhaust", "Venting path.", RESTRICTION, arrangement="direct"),
    Table(
        "pilot.chamber",
        "Pilot chamber, filled and vented by the drive.",
        _volume(),
        optional=True,
        arrangement="chain",
    ),
    Table("pilot.chamber.fill", "Filling path.", RESTRICTION, arrangement="chain"),
    Table("pilot.chamber.exhaust", "Venting path.", RESTRICTION, arrangement="chain"),
    Table(
        "pilot.chamber.bleed",
        "Permanent bleed.",
        RESTRICTION,
        optional=True,
        arrangement="chain",
    ),
    Table(
        "pilot.lag",
        "Pilot pressure that follows the drive with a lag.",
        (
            Key("low", "pressure", REQUIRED, "pressure at drive 0 %", PRESSURES),
            Key("high", "pressure", REQUIRED, "pressure at drive 100 %", PRESSURES),
            Key("lag", "time", REQUIRED, "first-order lag", "0.0001 ... 10 s"),
            Key(
                "start",
                "pressure",
                Same("air.atmosphere"),
                "pressure at time 0",
                PRESSURES,
            ),
        ),
        optional=True,
        arrangement="chain",
    ),
    Table(
        "booster",
        "Volume booster, opened by pilot minus outlet pressure.",
        (
            Key(
                "full_opening",
                "pressure difference",
                REQUIRED,
                "difference that opens fully",
                "0.001 ... 10 bar",
            ),
            Key("dead_band", "ratio", "0 %", "share that opens nothing", "0 ... 90 %"),
            Key("lag", "time", "0 s", "first-order lag", "0 ... 10 s"),
            Key("hysteresis", "ratio", "0 %", "full width of the play", "0 ... 200 %"),
        ),
        arrangement="chain",
    ),
    Table("booster.fill", "Feeding path.", RESTRICTION, arrangement="chain"),
    Table("booster.exhaust", "Venting path.", RESTRICTION, arrangement="chain"),
    Table("outlet", "Air at the booster's outlet.", _volume(), arrangement="chain"),
    Table(
        "tube",
        "Tube from outlet to load. With a length, the time of sound counts as further "
        "delay of a sensor at the load; to the loop that is the same as a late load.",
        TUBE,
        arrangement="chain",
    ),
    Table(
        "load",
        "The controlled volume.",
        (
            *_volume(),
            Key(
                "consumption",
                Pairs("time", "flow"),
                None,
                "flow drawn from that time on; empty: none",
                "0 ... 10 kg/s",
            ),
        ),
    ),
    Table("load.bleed", "Permanent bleed of the load.", RESTRICTION, optional=True),
)
AIR = Table(
    "air",
    "The gas and its surroundings.",
    (
        Key(
            "atmosphere",
            "absolute pressure",
            "101.325 kPa absolute",
            "pressure that gauge pressures stand on",
            "0.3 ... 1.2 bar absolute",
        ),
        Key(
            "ambient_temperature",
            "temperature",
            "20 degC",
            "of walls and supply air",
            "200 ... 400 K",
        ),
        Key(
            "gas_constant",
            "gas constant",
            "287.05 J/(kg K)",
            "specific gas constant R",
            "200 ... 500 J/(kg K)",
        ),
        Key("gamma", "ratio", "1.4", "ratio of specific heats", "1.1 ... 1.67"),
        Key(
            "reference_density",
            "density",
            "1.185 kg/m3",
            'density of "ANR" and of C',
            "0.5 ... 5 kg/m3",
        ),
        Key(
            "reference_temperature",
            "temperature",
            "293.15 K",
            "temperature of C",
            "200 ... 400 K",
        ),
        Key(
            "scfm_reference",
            "text",
            None,
            'state of a bare SCFM: "60 degF, 14.696 psia"; missing: SCFM must say',
        ),
        Key(
            "thermal",
            THERMALS,
            "isothermal",
            "heat model of all volumes",
        ),
        Key("exponent", "ratio", "1.2", "polytropic exponent", "1 ... 1.67"),
    ),
)
SENSORS = (
    Table(
        "sensor.pressure",
        "The sensor of the controlled pressure.",
        (
            *_pressure_sensor(),
            Key("location", Choices(("outlet", "load")), "load", "where it sits"),
        ),
    ),
    Table("sensor.supply", "The sensor of the supply pressure.", _pressure_sensor()),
    Table(
        "sensor.current",
        "The current input's converter.",
        (
            Key("low", "current", "0 mA", "current at 0 counts", "0 ... 25 mA"),
            Key("high", "current", "25 mA", "current at full counts", "0 ... 25 mA"),
            *_lags("current", "current rate", "0 ... 5 mA", "-1 ... 1 mA/s"),
        ),
    ),
)
