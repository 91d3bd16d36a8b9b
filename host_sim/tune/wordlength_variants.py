"""The same machine and law with fewer bits, one place at a time.

Nothing of the law is written again. Fewer bits of a gain are another mantissa,
coarser signals are other shifts, in the same parameter block under the same law.
"""

from collections.abc import Sequence
from dataclasses import replace

from firmware_model.law import layout
from firmware_model.law.arith import scale
from host_sim.law.block import Block
from host_sim.law.quantise import quantise
from host_sim.law.read_back import read_back
from host_sim.plant.settings import Channel
from host_sim.scenario.load import Scenario

MANTISSA_BITS = layout.MANTISSA[1].bit_length()
COUNT_BITS = layout.COUNTS[1].bit_length()
SIGNAL_BITS = layout.FULL.bit_length()

GAINS = ("P", "I", "D", "LEAK", "TRACK", "FILTER", "SUPPLY_FILTER")
"""Stems of the gains that shape the movement."""
SCALES = ("CURRENT", "RANGE", "PRESSURE", "SUPPLY", "ABSOLUTE")
"""Stems of the gains that say what a count means."""

# Of these words one unit is one unit of set point or pressure.
_PRESSURES = (
    "PRESSURE_OFFSET",
    "SETPOINT_LOW",
    "SETPOINT_HIGH",
    "CUTOFF_HYSTERESIS",
    "DEADBAND",
    "DEADBAND_HYSTERESIS",
)
_TO_PRESSURE = ("RANGE_SHIFT", "PRESSURE_SHIFT")
_FROM_PRESSURE = ("P_SHIFT", "I_SHIFT", "D_SHIFT", "ABSOLUTE_SHIFT")


def round_mantissa(mantissa: int, shift: int, bits: int) -> tuple[int, int]:
    """Round a gain's mantissa to so many leading bits, to nearest.

    Parameters
    ----------
    mantissa, shift : int
        Of the gain ``mantissa / 2**shift``.
    bits : int
        Leading bits that stay, 1 or more.

    Returns
    -------
    int, int
        Mantissa and shift; a mantissa that rounds up to a power of two beyond
        14 bits gives one of the shift away.

    >>> round_mantissa(0b11_0110_0000_0001, 10, 3), round_mantissa(16_383, 10, 3)
    ((14336, 10), (8192, 9))
    """
    low = mantissa.bit_length() - bits
    if low <= 0:
        return mantissa, shift
    rounded = int(scale(mantissa, 1, low)) << low
    if rounded <= layout.MANTISSA[1]:
        return rounded, shift
    if shift > layout.SHIFT[0]:
        return rounded >> 1, shift - 1
    return rounded - (1 << low), shift


def with_gain_bits(scenario: Scenario, bits: int) -> Scenario:
    """Keep so many leading bits of every gain and lag."""
    return _with_mantissas(scenario, GAINS, bits)


def with_scale_bits(scenario: Scenario, bits: int) -> Scenario:
    """Keep so many leading bits of every factor from counts to units."""
    return _with_mantissas(scenario, SCALES, bits)


def with_pressure_bits(scenario: Scenario, bits: int) -> Scenario:
    """Give the pressure a converter of so many bits."""
    sensing = scenario.plant.sensing
    channel = replace(sensing.pressure, bits=bits)
    return _with_channels(scenario, channel, sensing.supply, scenario.current_channel)


def with_command_bits(scenario: Scenario, bits: int) -> Scenario:
    """Give the command a converter of so many bits."""
    sensing, channel = scenario.plant.sensing, scenario.current_channel
    channel = replace(channel, bits=bits)
    return _with_channels(scenario, sensing.pressure, sensing.supply, channel)


def with_signal_bits(scenario: Scenario, bits: int) -> Scenario:
    """Count set point, pressure and error in coarser units.

    100 % is ``25 000 / 2**(15 - bits)`` instead of 25 000. The law itself runs,
    its remainders carried as ever: what turns counts into pressure has a larger
    shift, what turns pressure into output a smaller one, and every mantissa
    stays. Outputs keep their 25 000.

    Parameters
    ----------
    scenario : Scenario
        One that `signal_obstacle` finds nothing against.
    bits : int
        From `fewest_signal_bits` to 15.

    Returns
    -------
    Scenario

    Notes
    -----
    The limits at -5 and 110 % of the range move outward with the unit; a law
    with so few counts would have its own.
    """
    block = quantise(scenario.law)
    halvings = SIGNAL_BITS - bits
    for name in _PRESSURES:
        block[name] = round(block[name] / 2**halvings)
    if block["CUTOFF"] > layout.SIGNAL[0]:
        block["CUTOFF"] = round(block["CUTOFF"] / 2**halvings)
    for name in ("RAMP_UP", "RAMP_DOWN"):
        if block[name] < layout.SETPOINT_RATE[1]:
            block[name] = max(block[name] >> halvings, layout.SETPOINT_RATE[0])
    for name in _TO_PRESSURE:
        block[name] += halvings
    for name in _FROM_PRESSURE:
        block[name] -= halvings
    return _with_block(scenario, block)


def fewest_signal_bits(scenario: Scenario) -> int:
    """Find how coarse the signals may be before a gain does not fit."""
    block = quantise(scenario.law)
    low, high = layout.SHIFT
    room = [block[name] - low for name in _FROM_PRESSURE]
    room += [high - block[name] for name in _TO_PRESSURE]
    return SIGNAL_BITS - min(room)


def signal_obstacle(scenario: Scenario) -> str | None:
    """Say why coarser signals cannot be had from the same law, if so."""
    if scenario.law.command.reverse:
        return "a reverse-acting command is turned round at 25 000, whatever the unit"
    if scenario.law.pid.hold:
        return "the hold curve's points lie 2 048 units apart, whatever the unit"
    return None


def finest(scenario: Scenario) -> Scenario:
    """Give all channels converters as fine as the board's counts."""
    return _with_converters(scenario, COUNT_BITS)


def ideal(scenario: Scenario) -> Scenario:
    """Give all three channels converters without steps."""
    return _with_converters(scenario, None)


def quiet(scenario: Scenario) -> Scenario:
    """Take noise, drift, ripple and all scripted changes away."""
    built, sensing = scenario.plant.arrangement, scenario.plant.sensing
    supply = replace(built.supply, changes=(), ripple_pa=0.0)
    drawn = tuple(change for change in built.consumption.changes if change[0] <= 0.0)
    consumption = replace(built.consumption, changes=drawn)
    at_peace = replace(built, supply=supply, consumption=consumption)
    return _with_channels(
        replace(scenario, plant=replace(scenario.plant, arrangement=at_peace)),
        *(
            replace(channel, noise=0.0, drift_per_s=0.0)
            for channel in (sensing.pressure, sensing.supply, scenario.current_channel)
        ),
    )


def without_deadband(scenario: Scenario) -> Scenario:
    """Let the law answer to every error."""
    pid = replace(scenario.law.pid, deadband=0.0, deadband_hysteresis=0.0)
    return replace(scenario, law=replace(scenario.law, pid=pid))


def _with_mantissas(scenario: Scenario, stems: Sequence[str], bits: int) -> Scenario:
    block = quantise(scenario.law)
    for stem in stems:
        names = f"{stem}_GAIN", f"{stem}_SHIFT"
        kept = round_mantissa(block[names[0]], block[names[1]], bits)
        block[names[0]], block[names[1]] = kept
    return _with_block(scenario, block)


def _with_block(scenario: Scenario, block: Block) -> Scenario:
    return replace(scenario, law=read_back(block))


def _with_converters(scenario: Scenario, bits: int | None) -> Scenario:
    sensing = scenario.plant.sensing
    return _with_channels(
        scenario,
        *(
            replace(channel, bits=bits)
            for channel in (sensing.pressure, sensing.supply, scenario.current_channel)
        ),
    )


def _with_channels(
    scenario: Scenario, pressure: Channel, supply: Channel, current: Channel
) -> Scenario:
    sensing = replace(scenario.plant.sensing, pressure=pressure, supply=supply)
    plant = replace(scenario.plant, sensing=sensing)
    return replace(scenario, plant=plant, current_channel=current)
