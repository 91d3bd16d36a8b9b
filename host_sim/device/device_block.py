"""All parameters of a device: the law's block, and the supervisor's words behind."""

from typing import ClassVar, Self

from firmware_model.device.layout import DEVICE_PARAMETERS
from firmware_model.law.layout import TICKS
from host_sim.law.block import FULL, Q12, Block, Row
from host_sim.law.quantise import count_ticks, quantise
from host_sim.scenario.load import Scenario
from host_sim.scenario.supervision import RelayTest, Supervision


class DeviceBlock(Block):
    """A block with the words of supervisor and self-tuning too.

    >>> block = DeviceBlock(tick_s=0.01)
    >>> block["STUCK_TICKS"], block["P_GAIN"], len(block.words)
    (1000, 8192, 113)
    """

    rows: ClassVar[tuple[Row, ...]] = DEVICE_PARAMETERS
    slot: ClassVar[dict[str, int]] = {
        row[0]: slot for slot, row in enumerate(DEVICE_PARAMETERS)
    }

    @classmethod
    def around(cls, law: Block) -> Self:
        """Put a law's block into a device's, whose other words are fresh."""
        block = cls(law.tick_s)
        block.words[: len(law.words)] = law.words
        return block

    def law(self) -> Block:
        """Give the law's words alone."""
        return Block(self.tick_s, self.words[: len(Block.rows)])


def device_block(scenario: Scenario) -> DeviceBlock:
    """Quantise all that a scenario says to a device.

    Parameters
    ----------
    scenario : Scenario

    Returns
    -------
    DeviceBlock

    Raises
    ------
    InputError
        A time or gain that does not fit, with the nearest that does.
    """
    block = DeviceBlock.around(quantise(scenario.law))
    _put_supervision(block, scenario.supervision)
    _put_relay_test(block, scenario.relay_test)
    return block


def _put_supervision(block: DeviceBlock, told: Supervision) -> None:
    times_s = {
        "START_TICKS": told.start_s,
        "CLEAR_TICKS": told.clear_s,
        "RANGE_TICKS": told.above_range_s,
        "STUCK_TICKS": told.stuck_s,
        "APART_TICKS": told.apart_s,
        "LAMP_TICKS": told.blink_s,
    }
    for name, time_s in times_s.items():
        highest = block.rows[block.slot[name]][1][1]
        block[name] = count_ticks(block, name, time_s, highest)
    block["START_WISH"] = told.start_mode
    block["STUCK_COUNTS"] = told.stuck_counts
    block["APART"] = round(told.apart * FULL)
    block["LATE_LIMIT"] = told.late_ticks
    block["LATE_TICKS"] = told.late_weight


def _put_relay_test(block: DeviceBlock, told: RelayTest) -> None:
    block["RELAY_SIZE"] = round(told.size * FULL)
    block["RELAY_BAND"] = round(told.band * FULL)
    block["RELAY_TRAVEL"] = round(told.travel * FULL)
    block["RELAY_TICKS"] = count_ticks(block, "RELAY_TICKS", told.patience_s, TICKS[1])
    block["RELAY_CYCLES"] = told.cycles
    block["RELAY_SAFETY"] = round(told.safety * Q12)
