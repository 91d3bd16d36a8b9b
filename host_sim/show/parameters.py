"""A parameter block as a table: word, range, and what it stands for."""

import math

from host_sim.device.device_block import DeviceBlock
from host_sim.show.tables import console, new_table


def show_parameters(block: DeviceBlock, where: str) -> None:
    """Print every word of a block, gains as the numbers that they stand for."""
    table = new_table(
        f"{where}: tick {1e3 * block.tick_s:g} ms", ("word", "", "range", "meaning")
    )
    for name, (low, high), _, meaning in block.rows:
        table.add_row(
            name, str(block[name]), f"{low} ... {high}", _says(block, name, meaning)
        )
    table.columns[3].justify = "left"
    console().print(table)


def _says(block: DeviceBlock, name: str, meaning: str) -> str:
    stem = name.removesuffix("_GAIN")
    if stem == name:
        return meaning
    gain = math.ldexp(block[name], -block[f"{stem}_SHIFT"])
    return f"{meaning} (gain {gain:.6g})"
