"""Every key of a scenario file: the one table that all else is read from."""

from host_sim.scenario.keys_device import DEVICE
from host_sim.scenario.keys_law import LAW, RUN
from host_sim.scenario.keys_plant import AIR, PLANT, SENSORS
from host_sim.scenario.keys_tuning import TUNING
from host_sim.scenario.keys_wanted import WANTED
from host_sim.scenario.schema import OneOf, keys_markdown

# The order of reading: gauge pressures and flows stand on the air, shares of
# the range on the range, and a key's default on a key before it.
TABLES = (AIR, *RUN, *PLANT, *SENSORS, *LAW, *WANTED, *TUNING, *DEVICE)

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

INTRODUCTION = """\
# Keys of a scenario file

Written by `integer-pilot info --keys`; do not edit. A scenario is a TOML file.
Every quantity carries its unit as text: "2.5 L", "6 bar gauge", "87 psig",
"0.35 dm3/(s.bar)", "90 SCFM (60 degF, 14.696 psia)"; pure ratios may be bare
numbers. Pressures say gauge or absolute, pressure differences do not. The files
in `shipped/` are complete examples.

"""


def keys_document() -> str:
    """Write the document of all keys.

    >>> keys_document().splitlines()[0]
    '# Keys of a scenario file'
    """
    return INTRODUCTION + keys_markdown(TABLES, ONE_OF) + "\n"
