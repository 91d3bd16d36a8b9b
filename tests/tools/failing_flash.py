"""Flash that loses power: at any byte programmed, at any page erased.

An erase sets bits, programming clears them; each byte programmed is one step and
each page erased is one. Runs on MicroPython, too.
"""

from failing_power import Supply


class FailingFlash(Supply):
    """Pages of flash, full of anything at first.

    It refuses what flash does not do: part of a unit, a unit twice, a page that
    starts elsewhere.
    """

    def __init__(self, random, pages, page_bytes, unit_bytes):
        super().__init__()
        self.random = random
        self.page_bytes = page_bytes
        self.unit_bytes = unit_bytes
        self.cells = bytearray(random.getrandbits(8) for _ in range(pages * page_bytes))
        self.programmed = set()

    def copy(self):
        """Make another flash with the same content."""
        twin = FailingFlash(self.random, 0, self.page_bytes, self.unit_bytes)
        twin.cells = bytearray(self.cells)
        twin.programmed = set(self.programmed)
        return twin

    def read(self, address, buffer):
        self.check()
        buffer[:] = self.cells[address : address + len(buffer)]

    def program(self, address, buffer):
        self._check_unit(address, buffer)
        if address in self.programmed:
            raise AssertionError(f"unit at {address} programmed twice")
        self.programmed.add(address)
        for k in range(len(buffer)):
            if self.fails_now():
                self._tear_unit(address, buffer, k)
            self.cells[address + k] &= buffer[k]
            self.end_step()

    def erase(self, address):
        self.check()
        if address % self.page_bytes:
            raise AssertionError(f"no page starts at {address}")
        for unit in range(address, address + self.page_bytes, self.unit_bytes):
            self.programmed.discard(unit)
        if self.fails_now():
            self._tear_page(address)
        self.cells[address : address + self.page_bytes] = b"\xff" * self.page_bytes
        self.end_step()

    def _check_unit(self, address, buffer):
        self.check()
        if address % self.unit_bytes or len(buffer) != self.unit_bytes:
            raise AssertionError(f"not one unit: {len(buffer)} at {address}")

    def _tear_unit(self, address, buffer, first):
        """Clear some bits of this byte; half the time, of the unit's other bytes."""
        stop = len(buffer) if self.random.getrandbits(1) else first + 1
        for k in range(first, stop):
            self.cells[address + k] &= buffer[k] | self.random.getrandbits(8)
        self.fail()

    def _tear_page(self, address):
        """Leave a page half erased: some of it, some bits of it, or anything."""
        kind = self.random.randrange(4)
        edge = self.random.randrange(self.page_bytes + 1)
        if kind == 0:
            edge = self.page_bytes
        for at in range(address, address + edge):
            if kind == 1:
                self.cells[at] = 0xFF
            elif kind == 2:
                self.cells[at] = self.random.getrandbits(8)
            else:
                self.cells[at] |= self.random.getrandbits(8)
        self.fail()
