"""The store's two banks on raw flash pages."""

from firmware_model.law.arith import const

_INPUT_OUTPUT_ERROR = const(5)
_NO_SPACE_LEFT = const(28)
_BLOCK_SIZE = const(5)
_BLOCK_ERASE = const(6)


class FlashBanks:
    """Two banks of whole pages, erased and programmed anew by every save.

    An erase sets all bits of a page, programming only clears bits, and either may
    stop half way. So a bank is always erased before it is programmed, whatever it
    seems to hold, and no unit is programmed twice.

    Parameters
    ----------
    flash : object
        ``page_bytes``, what is erased together; ``unit_bytes``, what is programmed
        together, a part of a page; ``read(address, buffer)``, of any length;
        ``program(address, buffer)``, of one unit; ``erase(address)``, of one page.
        All three raise an `OSError` where they fail.
    address : int
        First byte of bank 0, at the start of a page; bank 1 follows it.
    bank_bytes : int
        Length of each bank, in whole pages; leave room for later layouts.

    Raises
    ------
    ValueError
        The banks are not made of whole pages, or the pages not of whole units.
    """

    def __init__(self, flash, address: int, bank_bytes: int) -> None:
        if address % flash.page_bytes or bank_bytes % flash.page_bytes:
            raise ValueError("address and bank_bytes must be whole pages")
        if flash.page_bytes % flash.unit_bytes:
            raise ValueError("page_bytes must be whole units")
        self.flash = flash
        self.address = address
        self.bank_bytes = bank_bytes
        self.unit = bytearray(flash.unit_bytes)

    def read(self, bank: int, buffer) -> int:
        """Read a bank from its start; return how many bytes it gave.

        Raises
        ------
        OSError
            The bank is shorter than the buffer, or the flash failed.
        """
        self.flash.read(self._start(bank, buffer), buffer)
        return len(buffer)

    def write(self, bank: int, buffer) -> None:
        """Make a bank hold these bytes, for good when it returns.

        Raises
        ------
        OSError
            The bank is shorter than the buffer, or the flash failed.
        """
        start = self._start(bank, buffer)
        for page in range(start, start + self.bank_bytes, self.flash.page_bytes):
            self.flash.erase(page)
        unit = self.unit
        for first in range(0, len(buffer), len(unit)):
            for k in range(len(unit)):
                unit[k] = buffer[first + k] if first + k < len(buffer) else 0xFF
            self.flash.program(start + first, unit)

    def _start(self, bank: int, buffer) -> int:
        if len(buffer) > self.bank_bytes:
            raise OSError(_NO_SPACE_LEFT)
        return self.address + bank * self.bank_bytes


class DeviceFlash:
    """A board's flash behind MicroPython's block device, as `FlashBanks` takes it.

    Parameters
    ----------
    device : object
        A block device of flash that has the extended interface: with an offset in
        a block, ``readblocks`` and ``writeblocks`` take any length within it, and
        the latter erases nothing.
    unit_bytes : int
        What this flash programs together; its data sheet says it.
    """

    def __init__(self, device, unit_bytes: int) -> None:
        self.device = device
        self.unit_bytes = unit_bytes
        self.page_bytes = int(device.ioctl(_BLOCK_SIZE, 0))

    def read(self, address: int, buffer) -> None:
        """Read as many bytes as the buffer takes."""
        view = memoryview(buffer)
        first = 0
        while first < len(buffer):
            block, offset = divmod(address + first, self.page_bytes)
            stop = min(first + self.page_bytes - offset, len(buffer))
            _require(self.device.readblocks(block, view[first:stop], offset))
            first = stop

    def program(self, address: int, buffer) -> None:
        """Program one unit of an erased page."""
        block, offset = divmod(address, self.page_bytes)
        _require(self.device.writeblocks(block, buffer, offset))

    def erase(self, address: int) -> None:
        """Erase one page."""
        _require(self.device.ioctl(_BLOCK_ERASE, address // self.page_bytes))


def _require(error) -> None:
    if error:
        raise OSError(_INPUT_OUTPUT_ERROR)
