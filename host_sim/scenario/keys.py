"""Every key of a scenario file: the one table that all else is read from."""

from host_sim.scenario.keys_law import LAW, RUN
from host_sim.scenario.keys_plant import AIR, PLANT, SENSORS
from host_sim.scenario.schema import OneOf

# The order of reading: gauge pressures and flows stand on the air, shares of
# the range on the range, and a key's default on a key before it.
TABLES = (AIR, *RUN, *PLANT, *SENSORS, *LAW)

ONE_OF = (
    OneOf(("profile.steps", "profile.recording"), True, "the command"),
    OneOf(("pilot.chamber", "pilot.lag"), True, 'the pilot of a "chain"'),
    OneOf(("controller.ideal", "controller.parallel"), True, "the gains"),
    OneOf(("gain_sets.*.ideal", "gain_sets.*.parallel"), True, "its gains"),
    OneOf(
        ("controller.derivative_filter", "controller.derivative_divisor"),
        False,
        "the lag on the derivative",
    ),
    OneOf(("drive.proportional", "drive.valve_pair"), True, "the drive"),
)
