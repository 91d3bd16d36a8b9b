"""All parameters of a device: the law's block, and the supervisor's words behind."""

from typing import ClassVar, Self

from firmware_model.device.layout import DEVICE_PARAMETERS
from host_sim.law.block import Block, Row


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
