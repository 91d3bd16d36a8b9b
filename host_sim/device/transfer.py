"""A device's parameters, sent and saved, or fetched."""

from firmware_model.device import protocol
from host_sim.device.device_block import DeviceBlock
from host_sim.device.link import DeviceLink
from host_sim.errors import InputError

_US_PER_S = 1_000_000


def send(link: DeviceLink, block: DeviceBlock) -> None:
    """Send parameters to a device, save them there, and read them back.

    Parameters
    ----------
    link : DeviceLink
        Open.
    block : DeviceBlock

    Raises
    ------
    InputError
        A device that stores nothing or has another tick; words that came back
        different.
    """
    _require_store(link)
    tick_us = round(block.tick_s * _US_PER_S)
    if link.identity.tick_us != tick_us:
        raise InputError(
            f"{link.line.name}: the device ticks every {link.identity.tick_us} us, the "
            f"parameters are for {tick_us} us; set run.tick in the scenario"
        )
    link.write_block(block)
    link.command(protocol.SAVE)
    if link.read_block().words != block.words:
        raise InputError(
            f"{link.line.name}: other words came back than were sent; send them again"
        )


def fetch(link: DeviceLink) -> DeviceBlock:
    """Fetch the parameters that a device uses now."""
    _require_store(link)
    return link.read_block()


def _require_store(link: DeviceLink) -> None:
    if not link.identity.stores:
        raise InputError(
            f"{link.line.name}: this device stores no parameters; a board of 16 KB "
            "takes them with its program, see `integer-pilot build`"
        )
